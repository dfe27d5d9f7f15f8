// The lines of the shown layer, and the addresses of the map's files; both follow what is tried.
"use strict";
(() => {
  const page = document.getElementById("map-page");
  if (!page || !page.leaflet) return;
  const byId = (id) => document.getElementById(id);
  const ink = "#1c2a31", pen = L.canvas({ padding: 0.1 });
  let shown = null, turn = 0;

  function links() {
    const layer = byId("layer").value, pair = byId("pair").value ? JSON.parse(byId("pair").value) : null;
    for (const link of document.querySelectorAll("#files [data-file]")) {
      const name = link.dataset.file, needs = name.includes("LAYER");
      link.toggleAttribute("hidden", needs && layer === "none");
      const over = page.overlaysAsked ? page.overlaysAsked() : "";
      link.href = page.mapAddress(name.replace("LAYER", layer), link.dataset.pair && pair ? { a: pair[0], b: pair[1] } : name.endsWith(".png") && over ? { overlays: over } : {});
    }
    byId("files-pair").textContent = pair ? `of ${byId("pair").selectedOptions[0].text}` : "of all pairs";
    byId("files-try").hidden = !page.classList.contains("is-tried");
  }

  function label(feature, lines) {
    const part = feature.geometry.coordinates, [lon, lat] = part[Math.floor(part.length / 2)];
    L.marker([lat, lon], { keyboard: false, interactive: false, icon: L.divIcon({ className: "line-label", html: feature.properties.label, iconSize: null }) }).addTo(lines);
  }

  async function draw() {
    const mine = ++turn, layer = byId("layer").value;
    if (!byId("layer-lines").checked || layer === "none") {
      if (shown) { shown.remove(); shown = null; }
      byId("lines-say").textContent = "";
      return;
    }
    const answer = await fetch(page.mapAddress(`lines/${layer}.json`));
    if (!answer.ok || mine !== turn) return;
    const found = await answer.json();
    if (mine !== turn) return;
    if (shown) shown.remove();
    const strong = (p) => p[p.layer] === 0;
    shown = L.layerGroup([L.geoJSON(found, { interactive: false, renderer: pen, style: ({ properties: p }) => ({ color: ink, weight: strong(p) ? 2.2 : 1.1, opacity: 0.9, fill: false }) })]).addTo(page.leaflet);
    // The longest line of each value bears its label.
    const longest = {};
    for (const feature of found.features) {
      if (feature.geometry.type !== "LineString") continue;
      const key = feature.properties.label, held = longest[key];
      if (!held || held.geometry.coordinates.length < feature.geometry.coordinates.length) longest[key] = feature;
    }
    for (const feature of Object.values(longest)) label(feature, shown);
    byId("lines-say").textContent = found.features.length ? "" : "This layer has no lines here. For lines of equal delay difference choose a pair under Meeting wavefronts.";
  }

  page.addEventListener("redrawn", () => { links(); draw(); });
  page.addEventListener("overlaid", links); // the picture bears them too
  byId("layer-lines").addEventListener("change", draw);
})();
