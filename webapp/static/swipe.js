// The plan's picture left of a line, the try's to its right; both are drawn by the server.
"use strict";
(() => {
  const page = document.getElementById("map-page"), box = document.getElementById("swipe");
  if (!page || !page.leaflet || !box) return;
  const map = page.leaflet, byId = (id) => document.getElementById(id);
  const left = map.createPane("planned"), right = map.getPane("layer");
  left.style.zIndex = 221;
  let plan = null;
  const line = box.querySelector(".swipe-line");

  function cut() {
    if (box.hidden) { right.style.clip = ""; return; }
    const size = map.getSize(), at = size.x * byId("swipe-at").value / 100;
    const from = map.containerPointToLayerPoint([0, 0]), to = map.containerPointToLayerPoint([size.x, size.y]), middle = map.containerPointToLayerPoint([at, 0]).x;
    left.style.clip = `rect(${from.y}px, ${middle}px, ${to.y}px, ${from.x}px)`;
    right.style.clip = `rect(${from.y}px, ${to.x}px, ${to.y}px, ${middle}px)`;
    line.style.left = `${at}px`;
  }
  function draw() {
    const layer = byId("layer").value, wanted = byId("swipe-on").checked && page.classList.contains("is-tried") && layer !== "none";
    box.hidden = !wanted;
    if (plan) { plan.remove(); plan = null; }
    const shown = page.shownBounds;
    if (wanted && shown) plan = L.imageOverlay(page.planAddress(`layer/${layer}.png`), shown, { pane: "planned", opacity: byId("opacity").value / 100, interactive: false, className: "planned-pixels" }).addTo(map);
    cut();
  }
  page.addEventListener("redrawn", draw);
  byId("swipe-on").addEventListener("change", () => { draw(); page.keepAddress(); });
  byId("swipe-at").addEventListener("input", cut);
  byId("opacity").addEventListener("input", (event) => plan && plan.setOpacity(event.target.value / 100));
  map.on("move zoom viewreset resize moveend", cut);
})();
