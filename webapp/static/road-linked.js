// Chart and map of a road show the same place: by the pointer on either, and by the arrow keys. Figures are the server's.
"use strict";
// Gives back what ends it.
const linkedRoad = (map, chart, says, samples, idle = () => false) => {
  const picture = chart.querySelector("img"), line = chart.querySelector(".chart-line");
  const NEAR_PX = 40;
  let road = null, edges = null, mark = null, at = -1;

  // Left and right edge of the plot in the picture, as parts of its width: the frame that the drawing names.
  async function frame() {
    const drawing = await (await fetch(picture.src)).text(); // read as text: parsed, its styles would be refused one by one
    const width = Number(drawing.match(/viewBox="[\d.]+ [\d.]+ ([\d.]+)/)[1]), outline = drawing.match(/id="road-plot"[^]*?\sd="([^"]+)"/)[1];
    const along = [...outline.matchAll(/[ML]\s*([\d.]+)/g)].map((one) => Number(one[1]));
    return [Math.min(...along) / width, Math.max(...along) / width];
  }
  let ready = null;
  const prepared = () => (ready ||= Promise.all([fetch(samples, { headers: { Accept: "application/json" } }).then((answer) => (answer.ok ? answer.json() : null)), frame()]).then(([found, cut]) => { road = found; edges = cut; }).catch(() => { road = null; }));

  function show(k) {
    if (!road) return;
    at = Math.max(0, Math.min(road.at_m.length - 1, k));
    const place = [road.lat[at], road.lon[at]], ratio = road.at_m[at] / (road.length_m || 1);
    if (!mark) mark = L.circleMarker(place, { radius: 8, color: "#1c2a31", weight: 3, fillColor: "#fdfbf5", fillOpacity: 0.6, interactive: false, className: "road-mark" }).addTo(map);
    mark.setLatLng(place);
    line.hidden = false;
    line.style.left = `${picture.offsetLeft + (edges[0] + (edges[1] - edges[0]) * ratio) * picture.clientWidth}px`;
    line.style.height = `${picture.clientHeight}px`;
    says.textContent = road.says[at];
    chart.setAttribute("aria-valuenow", (100 * ratio).toFixed(1));
    chart.setAttribute("aria-valuetext", road.says[at]);
  }
  function nearestAt(metres) {
    let low = 0, high = road.at_m.length - 1;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (road.at_m[middle] < metres) low = middle + 1; else high = middle;
    }
    return low > 0 && metres - road.at_m[low - 1] < road.at_m[low] - metres ? low - 1 : low;
  }
  chart.addEventListener("pointermove", async (event) => {
    await prepared();
    if (!road) return;
    const box = picture.getBoundingClientRect(), ratio = ((event.clientX - box.left) / box.width - edges[0]) / (edges[1] - edges[0]);
    if (ratio >= 0 && ratio <= 1) show(nearestAt(ratio * road.length_m));
  });
  const hovered = async ({ containerPoint }) => {
    if (idle()) return;
    await prepared();
    if (!road) return;
    let best = -1, away = NEAR_PX;
    for (let k = 0; k < road.at_m.length; k += 1) {
      const here = map.latLngToContainerPoint([road.lat[k], road.lon[k]]), far = here.distanceTo(containerPoint);
      if (far < away) { best = k; away = far; }
    }
    if (best >= 0) show(best);
  };
  map.on("mousemove", hovered);
  chart.addEventListener("keydown", async (event) => {
    const by = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, PageUp: 10, PageDown: -10, Home: -Infinity, End: Infinity }[event.key];
    if (!by) return;
    event.preventDefault();
    await prepared();
    if (!road) return;
    show(by === Infinity ? road.at_m.length - 1 : by === -Infinity ? 0 : at + by);
    const left = parseFloat(line.style.left); // a telephone shows a part of the chart
    if (left < chart.scrollLeft || left > chart.scrollLeft + chart.clientWidth) chart.scrollLeft = left - chart.clientWidth / 2;
    if (!map.getBounds().contains(mark.getLatLng())) map.panTo(mark.getLatLng(), { animate: false });
  });
  return () => {
    map.off("mousemove", hovered);
    if (mark) mark.remove();
  };
};
{
  const page = document.getElementById("road-page"), chart = document.getElementById("chart");
  if (page && page.leaflet && chart && page.dataset.samples) {
    linkedRoad(page.leaflet, chart, document.getElementById("chart-says"), page.dataset.samples, () => page.classList.contains("drawing"));
  }
}
