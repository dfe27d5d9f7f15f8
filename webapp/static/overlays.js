// Lines and places over the map, switched on and off; they come clipped and simplified from the server.
"use strict";
(() => {
  const page = document.getElementById("map-page");
  if (!page || !page.leaflet) return;
  const map = page.leaflet, byId = (id) => document.getElementById(id), boxes = [...document.querySelectorAll("[data-overlay]")];
  map.createPane("overlays").style.zIndex = 240;
  const pen = L.canvas({ pane: "overlays", padding: 0.2 });
  const looks = { coast: { color: "#1d4f73", weight: 1.6 }, borders: { color: "#3d3346", weight: 1.8, dashArray: "7 3 2 3" }, roads: { color: "#4a4a42", weight: 1.4 } };
  const own = [{ color: "#5a2a6b", weight: 2 }, { color: "#7a2e12", weight: 2, dashArray: "6 3" }, { color: "#16424c", weight: 2, dashArray: "2 4" }];
  const drawn = new Map();

  function usual() { return boxes.filter((box) => box.dataset.usual).map((box) => box.dataset.overlay).join(","); }
  function chosen() { return boxes.filter((box) => box.checked).map((box) => box.dataset.overlay).join(","); }
  page.overlaysAsked = () => (boxes.length && chosen() !== usual() ? chosen() || "none" : "");

  function label(text) { return Object.assign(document.createElement("span"), { textContent: text }); }
  async function show(box) {
    const key = box.dataset.overlay;
    if (!box.checked) {
      if (drawn.has(key)) { drawn.get(key).remove(); drawn.delete(key); }
      return;
    }
    if (drawn.has(key)) return;
    const answer = await fetch(box.dataset.shapes, { headers: { Accept: "application/json" } }).catch(() => null);
    if (!answer || !answer.ok) { byId("overlay-says").textContent = "That overlay could not be fetched; open the page again."; return; }
    const found = await answer.json();
    if (!box.checked || drawn.has(key)) return;
    const style = looks[key] || own[boxes.indexOf(box) % own.length];
    drawn.set(key, L.geoJSON(found, {
      pane: "overlays", interactive: false, style: () => ({ ...style, fill: false, renderer: pen, interactive: false }),
      pointToLayer: (feature, where) => L.circleMarker(where, { ...style, dashArray: null, radius: 3.5, fillOpacity: 1, renderer: pen, interactive: false }),
      onEachFeature: ({ geometry, properties }, layer) => {
        if (properties && properties.name && geometry.type === "Point") layer.bindTooltip(label(properties.name), { permanent: true, direction: "right", className: "place-label", offset: [4, 0] });
      },
    }).addTo(map));
    if (found.says) byId("overlay-says").textContent = found.says.join(" ");
  }
  function credits() {
    const told = boxes.filter((box) => box.checked).map((box) => box.closest(".overlay").querySelector(".quiet:not(details *)")?.textContent.trim()).filter(Boolean);
    byId("overlay-credits").textContent = [...new Set(told)].join("; ");
  }
  const asked = page.asked.get("overlays");
  const wanted = asked === null ? usual().split(",") : asked.split(",");
  for (const box of boxes) {
    box.checked = wanted.includes(box.dataset.overlay);
    box.addEventListener("change", () => { show(box); credits(); page.keepAddress(); });
    if (box.checked) show(box);
  }
  credits();

  // Roads beside the clicked place, whatever is switched on.
  const here = byId("roads-here");
  let clicks = 0;
  if (here) page.addEventListener("pinned", async ({ detail: at }) => {
    const mine = ++clicks, query = page.tries();
    query.append("lat", at.lat.toFixed(7));
    query.append("lon", L.Util.wrapNum(at.lng, [-180, 180], true).toFixed(7));
    here.replaceChildren(); // what stands there is another place's
    const answer = await fetch(`${here.dataset.near}?${query}`).catch(() => null);
    if (mine !== clicks || !answer?.ok) return;
    here.innerHTML = await answer.text(); // a template of ours, escaped there
    page.keepAddress(); // its form comes back to this window
  });
})();
