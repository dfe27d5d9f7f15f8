// The road on a map, in pieces of one class each, and drawing of a new one; everything is computed on the server.
"use strict";
(() => {
  const page = document.getElementById("road-page");
  if (!page) return;
  const byId = (id) => document.getElementById(id);
  const drawn = JSON.parse(page.dataset.drawn);
  const map = L.map("map", { attributionControl: false, zoomSnap: 0.5 });
  map.createPane("ground").style.zIndex = 210;
  map.fitBounds(drawn.bounds, { padding: [24, 24] });
  if (page.dataset.shade) L.imageOverlay(page.dataset.shade, drawn.area, { pane: "ground", interactive: false }).addTo(map);
  siteMarks(map, drawn.sites);
  smallMapOver(map, drawn.sites);

  if (page.dataset.road) roadLine(map, page.dataset.road);

  page.leaflet = map; // for road-linked.js

  // Drawing: each click a point; they go into the form's field.
  let corners = [], sketch = null, drawing = false;
  const typed = byId("line");
  function sketched() {
    if (sketch) sketch.remove();
    const style = { color: "#a3430f", weight: 3, dashArray: "6 4", interactive: false };
    sketch = L.layerGroup([L.polyline(corners, style), ...corners.map((c) => L.circleMarker(c, { radius: 4, color: "#a3430f", interactive: false }))]).addTo(map);
    const more = 2 - corners.length;
    byId("draw-says").textContent = more > 0 ? `Click ${more} more point${more > 1 ? "s" : ""}.` : `${corners.length} points. Click on, or finish.`;
    byId("draw-finish").disabled = more > 0;
    byId("draw-undo").disabled = !corners.length;
    typed.value = corners.map(([lat, lon]) => `${lat.toFixed(5)}, ${lon.toFixed(5)}`).join("\n");
  }
  function ended() {
    drawing = false;
    page.classList.remove("drawing");
    byId("drawing").hidden = true;
    byId("road-draw").hidden = false;
  }
  byId("draw-bar").hidden = false;
  byId("road-draw").addEventListener("click", () => {
    map.fire("drawing");
    drawing = true;
    corners = [];
    page.classList.add("drawing");
    byId("drawing").hidden = false;
    byId("road-draw").hidden = true;
    sketched();
  });
  byId("draw-undo").addEventListener("click", () => { corners.pop(); sketched(); });
  byId("draw-finish").addEventListener("click", () => { ended(); byId("road-form").scrollIntoView({ block: "center" }); });
  byId("draw-cancel").addEventListener("click", () => { ended(); corners = []; typed.value = ""; if (sketch) { sketch.remove(); sketch = null; } });
  map.on("click", (event) => {
    if (!drawing || map.measuring) return;
    const where = event.latlng.wrap();
    corners.push([where.lat, where.lng]);
    sketched();
  });
})();
