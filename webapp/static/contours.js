// Contours over the map: drawn and judged by the server, from the levels that the map has already.
"use strict";
(() => {
  const box = document.getElementById("contours"), page = document.getElementById("map-page");
  if (!box || !page || !page.leaflet) return;
  const byId = (id) => document.getElementById(id);
  let shown = null;

  function clear() {
    if (shown) { shown.remove(); shown = null; }
    byId("contour-says").replaceChildren();
  }
  const line = (text, kind = "") => Object.assign(document.createElement("p"), { className: kind, textContent: text });

  function link(form, query) {
    return Object.assign(document.createElement("a"), { href: `${box.dataset.contours.replace("FORM", form)}?${query}`, textContent: form === "kml" ? "KML" : "GeoJSON" });
  }

  async function draw() {
    clear();
    const typed = { level: byId("contour-level").value, site: byId("contour-site").value, main: byId("contour-main").value };
    const trying = page.tries(), query = new URLSearchParams([...Object.entries(typed), ...trying]), file = byId("contour-licence").files[0];
    let answer;
    if (file) {
      const body = new FormData();
      for (const [key, value] of Object.entries(typed)) body.append(key, value);
      body.append("file", file);
      answer = await fetch(`${box.dataset.licence}?${trying}`, { method: "POST", body, headers: { Accept: "application/json", "X-CSRF-Token": page.dataset.token } });
    } else {
      answer = await fetch(`${box.dataset.contours.replace("FORM", "json")}?${query}`, { headers: { Accept: "application/json" } });
    }
    const says = byId("contour-says"), told = await answer.json().catch(() => ({}));
    if (!answer.ok) {
      const problems = told.problems || [{ what: "The map is not ready yet", expected: "wait for its levels" }];
      says.replaceChildren(...problems.map((p) => line(`${p.what}; ${p.expected}`, "assumed")));
      return;
    }
    shown = L.layerGroup([
      L.geoJSON(told.licence, { interactive: false, style: { color: "#a3430f", weight: 2, dashArray: "8 5", fill: false } }),
      L.geoJSON(told.drawn, { interactive: false, style: { color: "#1c2a31", weight: 1.6, fill: false } }),
    ]).addTo(page.leaflet);
    const held = told.sites.map((s) => line(`${s.name}: ${s.area_km2.toFixed(1)} km² at ${told.at_dbuvm} dBµV/m or more`, "quiet"));
    const judged = told.inside.map((one, n) => line(told.says[n], one.inside ? "" : "assumed"));
    const first = told.first.map((said) => line(`${said}.`, "assumed"));
    const files = document.createElement("p");
    files.append("As a file: ", link("geojson", query), ", ", link("kml", query));
    says.replaceChildren(...first, ...held, ...judged, files);
  }

  byId("contour-draw").addEventListener("click", draw);
  byId("contour-clear").addEventListener("click", clear);
})();
