// The map of the Offsets page: sites, weights, gains and losses of the sliders, and drawing of what counts.
"use strict";
(() => {
  const page = document.getElementById("offsets-map-page");
  if (!page) return;
  const byId = (id) => document.getElementById(id);
  const drawn = JSON.parse(page.dataset.drawn), part = page.dataset.part;
  const map = L.map("map", { attributionControl: false, zoomSnap: 0.5 });
  map.createPane("layer").style.zIndex = 220;
  map.fitBounds(drawn.bounds || [[-60, -180], [70, 180]]);

  map.createPane("ground").style.zIndex = 210;
  if (drawn.ground) L.imageOverlay(drawn.ground, drawn.bounds, { pane: "ground", interactive: false }).addTo(map);
  siteMarks(map, drawn.sites || []);
  smallMapOver(map, drawn.sites || []);
  for (const weight of drawn.weights || []) {
    const style = { color: "#1c2a31", weight: 2, dashArray: weight.factor < 1 ? "2 5" : null, fill: Boolean(weight.area || weight.discs), fillOpacity: 0.06, interactive: false };
    const shapes = weight.area ? [L.polygon(weight.area, style)] : weight.road ? [L.polyline(weight.road, { ...style, weight: 4, opacity: 0.6 })] : weight.discs.map(([lat, lon, radius]) => L.circle([lat, lon], { ...style, radius }));
    const label = Object.assign(document.createElement("span"), { textContent: `${weight.name}: × ${weight.factor}` });
    for (const shape of shapes) shape.addTo(map).bindTooltip(label.cloneNode(true), { permanent: true, direction: "center", className: "site-label" });
  }

  // Gains and losses, or a layer of the overlap map, with what the sliders try.
  let picture = null, losing = L.layerGroup().addTo(map), turn = 0;
  const query = () => (page.triedQuery ? page.triedQuery() : new URLSearchParams());
  async function redraw() {
    if (!part) return;
    const mine = ++turn, name = byId("hand-layer").value, old = picture, legend = byId("hand-legend");
    const from = name === "effect" ? `${part}/effect` : `${page.dataset.map}/layer/${name}`;
    picture = L.imageOverlay(`${from}.png?${query()}`, drawn.bounds, { pane: "layer", opacity: byId("hand-opacity").value / 100, interactive: false, className: "pixels" }).addTo(map);
    if (old) picture.once("load", () => old.remove()).once("error", () => old.remove());
    legend.src = name === "effect" ? `${part}/effect.svg` : `${page.dataset.map}/legend/${name}.svg`;
    legend.alt = `Legend: ${byId("hand-layer").selectedOptions[0].text}`;
    legend.hidden = false;
    const answer = await fetch(`${part}/effect.json?${query()}`, { headers: { Accept: "application/json" } });
    if (mine !== turn) return;
    losing.clearLayers();
    if (!answer.ok) { byId("hand-effect").textContent = "Gains and losses cannot be worked out for these offsets."; return; }
    const said = await answer.json();
    byId("hand-effect").innerHTML = said.html; // a template of ours, escaped there
    for (const place of said.losing.slice(0, 8)) {
      const label = Object.assign(document.createElement("span"), { textContent: `${place.name} loses` });
      L.circleMarker([place.lat, place.lon], { radius: 5, color: "#543005", weight: 2, fillOpacity: 0, interactive: false })
        .bindTooltip(label, { permanent: true, direction: "left", className: "site-label" }).addTo(losing);
    }
    if (at) signals();
  }
  page.addEventListener("tried", redraw);
  if (part) {
    byId("hand-layer").addEventListener("change", redraw);
    byId("hand-opacity").addEventListener("input", (event) => picture && picture.setOpacity(event.target.value / 100));
  }

  // Every signal at a clicked point.
  let at = null, pin = null, clicks = 0;
  async function signals() {
    const mine = ++clicks, asked = query();
    asked.append("lat", at.lat.toFixed(7));
    asked.append("lon", L.Util.wrapNum(at.lng, [-180, 180], true).toFixed(7));
    const answer = await fetch(`${page.dataset.point}?${asked}`);
    if (mine !== clicks) return;
    byId("point-part").innerHTML = answer.ok ? await answer.text() : '<p class="assumed">No signals could be worked out there.</p>';
  }

  // Drawing: each click a corner; the corners go into the form below.
  let kind = "", corners = [], sketch = null;
  const typed = byId("weight-points");
  function sketched() {
    if (sketch) sketch.remove();
    const style = { color: "#a3430f", weight: 3, dashArray: "6 4", interactive: false };
    const line = kind === "area" && corners.length > 2 ? L.polygon(corners, { ...style, fillOpacity: 0.08 }) : L.polyline(corners, style);
    sketch = L.layerGroup([line, ...corners.map((c) => L.circleMarker(c, { radius: 4, color: "#a3430f", interactive: false }))]).addTo(map);
    const least = kind === "area" ? 3 : 2, more = least - corners.length;
    byId("draw-says").textContent = more > 0 ? `Click ${more} more ${kind === "area" ? "corners" : "points"}.` : `${corners.length} ${kind === "area" ? "corners" : "points"}. Click on, or finish.`;
    byId("draw-finish").disabled = more > 0;
    byId("draw-undo").disabled = !corners.length;
    typed.value = corners.map(([lat, lon]) => `${lat.toFixed(5)}, ${lon.toFixed(5)}`).join("\n");
  }
  function draw(what) {
    map.fire("drawing");
    kind = what;
    corners = [];
    page.classList.add("drawing");
    byId("drawing").hidden = false;
    byId("draw-area").hidden = byId("draw-road").hidden = true;
    byId("weight-kind").value = what;
    byId("weight-new").open = true;
    suited();
    sketched();
  }
  function ended() {
    kind = "";
    page.classList.remove("drawing");
    byId("drawing").hidden = true;
    byId("draw-area").hidden = byId("draw-road").hidden = false;
  }
  function suited() {
    for (const field of document.querySelectorAll("#weight-new [data-for]")) field.hidden = !field.dataset.for.split(" ").includes(byId("weight-kind").value);
  }
  byId("draw-bar").hidden = false;
  byId("draw-area").addEventListener("click", () => draw("area"));
  byId("draw-road").addEventListener("click", () => draw("road"));
  byId("draw-undo").addEventListener("click", () => { corners.pop(); sketched(); });
  byId("draw-finish").addEventListener("click", () => {
    ended();
    byId("weights").scrollIntoView();
    byId("weight-name").focus();
  });
  byId("draw-cancel").addEventListener("click", () => { ended(); corners = []; typed.value = ""; if (sketch) { sketch.remove(); sketch = null; } });
  byId("weight-kind").addEventListener("change", suited);
  suited();
  map.on("click", (event) => {
    if (map.measuring) return;
    const where = event.latlng.wrap();
    if (kind) { corners.push([where.lat, where.lng]); sketched(); return; }
    at = where;
    if (pin) pin.remove();
    pin = L.circleMarker(at, { radius: 5, color: "#a3430f", fillOpacity: 0, interactive: false }).addTo(map);
    signals();
  });
})();
