// The overlap map: layers, legends, wavefronts and signals come ready-made from the server; nothing is computed here.
"use strict";
(() => {
  const page = document.getElementById("map-page");
  if (!page) return;
  const part = page.dataset.part;
  const byId = (id) => document.getElementById(id);
  const map = L.map("map", { attributionControl: Boolean(page.dataset.streets), zoomSnap: 0.5 });
  page.leaflet = map; // for contours.js
  map.createPane("ground").style.zIndex = 210;
  map.createPane("layer").style.zIndex = 220;
  map.createPane("ribbon").style.zIndex = 230;
  let picture = null, ribbon = null, lines = null, marks = null, shade = null, chosen = null, at = null, grid = null;

  // What is tried, as the address has it.
  function tries() {
    const query = new URLSearchParams();
    for (const input of document.querySelectorAll(".try-offset")) {
      if (input.value.trim() !== input.defaultValue) query.append("offset", `${input.dataset.site}:${input.value.trim()}`);
    }
    for (const box of document.querySelectorAll(".try-air")) {
      if (!box.checked && !box.disabled) query.append("off", box.dataset.site);
    }
    return query;
  }
  const address = (name, more = {}) => {
    const query = tries();
    for (const [key, value] of Object.entries(more)) query.append(key, value);
    const text = query.toString();
    return `${part}/${name}${text ? `?${text}` : ""}`;
  };

  function graticule() {
    if (grid) grid.remove();
    grid = L.layerGroup().addTo(map);
    const view = map.getBounds(), span = Math.max(view.getNorth() - view.getSouth(), 1e-6);
    const step = [10, 5, 2, 1, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01].find((s) => span / s >= 3) || 0.005;
    const digits = step < 0.1 ? 2 : step < 1 ? 1 : 0;
    const style = { color: "#8d8670", weight: 0.7, opacity: 0.6, interactive: false };
    const say = (where, text) => L.marker(where, { interactive: false, icon: L.divIcon({ className: "graticule", html: text, iconSize: null }) }).addTo(grid);
    for (let lat = Math.ceil(view.getSouth() / step) * step; lat < view.getNorth(); lat += step) {
      L.polyline([[lat, view.getWest()], [lat, view.getEast()]], style).addTo(grid);
      say([lat, view.getWest()], `${Math.abs(lat).toFixed(digits)}° ${lat < 0 ? "S" : "N"}`);
    }
    for (let lon = Math.ceil(view.getWest() / step) * step; lon < view.getEast(); lon += step) {
      L.polyline([[view.getSouth(), lon], [view.getNorth(), lon]], style).addTo(grid);
      say([view.getNorth(), lon], `${Math.abs(lon).toFixed(digits)}° ${lon < 0 ? "W" : "E"}`);
    }
  }

  // A site is a circle with a tick, right for later, left for earlier.
  function siteMarks(sites) {
    if (marks) marks.remove();
    marks = L.layerGroup().addTo(map);
    for (const site of sites) {
      const tick = site.offset_us > 0 ? '<line x1="12" y1="12" x2="23" y2="12"/>' : site.offset_us < 0 ? '<line x1="1" y1="12" x2="12" y2="12"/>' : "";
      const html = `<svg width="24" height="24" class="site-mark${site.on_air ? "" : " off"}"><circle cx="12" cy="12" r="6" fill="${/^#[0-9a-f]{6}$/.test(site.colour) ? site.colour : "#fff"}"/>${tick}</svg>`;
      const label = document.createElement("span");
      label.textContent = `${site.name}, ${site.offset_us >= 0 ? "+" : "−"}${Math.abs(site.offset_us)} µs${site.on_air ? "" : ", off air"}`;
      L.marker([site.lat, site.lon], { keyboard: false, icon: L.divIcon({ className: "site-icon", html, iconSize: [24, 24], iconAnchor: [12, 12] }) })
        .bindTooltip(label, { permanent: sites.length <= 6, direction: "right", offset: [10, 0], className: "site-label" }).addTo(marks);
    }
  }

  function overlay(old, url, bounds, pane, opacity) {
    const made = L.imageOverlay(url, bounds, { pane, opacity, interactive: false, className: "pixels" }).addTo(map);
    if (old) made.once("load", () => old.remove()).once("error", () => old.remove());
    return made;
  }

  async function wavefronts(bounds) {
    const pair = byId("pair").value;
    if (ribbon) { ribbon.remove(); ribbon = null; }
    if (lines) { lines.remove(); lines = null; }
    if (!pair) return;
    const [a, b] = JSON.parse(pair);
    ribbon = overlay(null, address("ribbon.png", { a, b }), bounds, "ribbon", 0.85);
    const answer = await fetch(address("lines.json", { a, b }));
    if (!answer.ok || byId("pair").value !== pair) return;
    const drawn = await answer.json();
    lines = L.geoJSON(drawn, {
      interactive: false,
      style: ({ properties: p }) => p.kind === "equal-signal"
        ? { color: "#1c2a31", weight: 1.2, dashArray: "5 4" }
        : { color: p.delay_difference_us > 0 ? "#7a4a06" : p.delay_difference_us < 0 ? "#0b5a66" : "#1c2a31", weight: p.delay_difference_us === 0 ? 2.6 : 1.4, opacity: p.levels_match ? 1 : 0.3 },
    });
    const longest = {};
    for (const { geometry, properties: p } of drawn.features) {
      if (p.kind !== "equal-delay") continue;
      const weight = geometry.coordinates.length * (p.levels_match ? 20 : 1);
      if (!longest[p.delay_difference_us] || weight > longest[p.delay_difference_us].weight) longest[p.delay_difference_us] = { weight, geometry };
    }
    const labels = Object.entries(longest).map(([delay, { geometry }]) => {
      const [lon, lat] = geometry.coordinates[Math.floor(geometry.coordinates.length / 2)];
      const text = `${delay > 0 ? "+" : delay < 0 ? "−" : ""}${Math.abs(delay)} µs`;
      return L.marker([lat, lon], { interactive: false, icon: L.divIcon({ className: "line-label", html: text, iconSize: null }) });
    });
    lines = L.layerGroup([lines, ...labels]).addTo(map);
  }

  let turn = 0;
  async function redraw(first) {
    const mine = ++turn;
    const answer = await fetch(address("view.json"), { headers: { Accept: "application/json" } });
    if (mine !== turn) return;
    if (!answer.ok) {
      const said = await answer.json().catch(() => ({ problems: [] }));
      const box = byId("map-summary");
      box.replaceChildren(...(said.problems || []).map((p) => Object.assign(document.createElement("p"), { className: "assumed", textContent: `${p.what}; ${p.expected}` })));
      return;
    }
    const view = await answer.json();
    byId("map-summary").innerHTML = view.summary; // a template of ours, escaped there
    if (first) {
      map.fitBounds(view.bounds);
      if (view.has_shade) shade = overlay(null, `${part}/shade.png`, view.bounds, "ground", 1);
      chosen = "quality_class";
      const box = byId("layers");
      for (const layer of [{ name: "", label: "none" }, ...view.layers]) {
        const input = Object.assign(document.createElement("input"), { type: "radio", name: "layer", value: layer.name, id: `layer-${layer.name}`, checked: layer.name === chosen });
        input.addEventListener("change", () => { chosen = layer.name; redraw(false); });
        const label = Object.assign(document.createElement("label"), { htmlFor: input.id, textContent: ` ${layer.label}` });
        const line = document.createElement("div");
        line.append(input, label);
        box.append(line);
      }
      const names = Object.fromEntries(view.sites.map((site) => [site.id, site.name]));
      const select = byId("pair");
      for (const pair of view.pairs) select.append(new Option(`${names[pair[0]]} – ${names[pair[1]]}`, JSON.stringify(pair)));
    }
    siteMarks(view.sites);
    const opacity = byId("opacity").value / 100;
    if (chosen) {
      picture = overlay(picture, address(`layer/${chosen}.png`), view.bounds, "layer", opacity);
      const legend = byId("legend");
      legend.src = address(`legend/${chosen}.svg`);
      legend.alt = `Legend of ${chosen}`;
      legend.hidden = false;
    } else {
      if (picture) { picture.remove(); picture = null; }
      byId("legend").hidden = true;
    }
    await wavefronts(view.bounds);
    if (at) signals(at);
  }

  let asked = 0;
  async function signals(where) {
    const mine = ++asked;
    const query = tries();
    query.append("lat", where.lat.toFixed(7));
    query.append("lon", L.Util.wrapNum(where.lng, [-180, 180], true).toFixed(7));
    const answer = await fetch(`${page.dataset.point}?${query}`);
    if (mine !== asked) return;
    byId("point-part").innerHTML = answer.ok ? await answer.text() : '<p class="assumed">No signals could be worked out there.</p>';
  }

  let pin = null;
  map.on("click", (event) => {
    at = event.latlng;
    if (pin) pin.remove();
    pin = L.circleMarker(at, { radius: 5, color: "#a3430f", fillOpacity: 0, interactive: false }).addTo(map);
    signals(at);
  });
  map.on("moveend", graticule);
  byId("opacity").addEventListener("input", (event) => picture && picture.setOpacity(event.target.value / 100));
  byId("pair").addEventListener("change", () => redraw(false));
  byId("this-view").addEventListener("click", () => {
    const b = map.getBounds();
    byId("bounds").value = [b.getSouth(), b.getWest(), b.getNorth(), b.getEast()].map((v) => v.toFixed(4)).join(",");
  });
  let waiting = null;
  byId("tries").addEventListener("input", (event) => {
    if (!event.target.matches(".try-offset, .try-air")) return;
    clearTimeout(waiting);
    waiting = setTimeout(() => redraw(false), 250);
  });
  if (page.dataset.streets) {
    L.tileLayer("https://tile.openstreetmap.org/{z}/{x}/{y}.png", { maxZoom: 19, attribution: "© OpenStreetMap contributors" }).addTo(map);
  }

  // How far each site is, and a picture of those that are ready.
  let early = null, shown = 0;
  function parts(job) {
    const list = byId("map-parts");
    for (const [i, one] of (job.parts || []).entries()) {
      if (!list.children[i]) {
        const line = document.createElement("li"), label = document.createElement("label");
        label.append(document.createTextNode(`${one.name} `), document.createElement("progress"));
        line.append(label, document.createElement("span"));
        list.append(line);
      }
      const bar = list.children[i].querySelector("progress");
      bar.max = one.total;
      bar.value = one.done;
      list.children[i].lastChild.textContent = one.done === one.total ? " ready" : "";
    }
  }
  async function soFar() {
    const answer = await fetch(`${part}/so-far.json`);
    if (!answer.ok) return;
    const found = await answer.json();
    if (!found.sites.length || found.sites.length === shown) return;
    if (!shown) map.fitBounds(found.bounds);
    shown = found.sites.length;
    early = overlay(early, `${part}/so-far.png?sites=${shown}`, found.bounds, "layer", byId("opacity").value / 100);
    const legend = byId("legend");
    legend.src = `${part}/so-far.svg`;
    legend.alt = "Legend of the level of the strongest so far";
    legend.hidden = false;
  }

  async function follow() {
    const box = byId("progress-box");
    box.hidden = false;
    for (;;) {
      const answer = await fetch(page.dataset.job, { headers: { Accept: "application/json" } });
      const job = answer.ok ? await answer.json() : { state: "failed", phase: "", problems: [] };
      if (job.total) { byId("map-progress").max = job.total; byId("map-progress").value = job.done; }
      if (job.state === "finished") break;
      parts(job);
      if (job.state === "running") await soFar();
      if (job.state === "cancelled" || job.state === "failed") {
        byId("map-phase").textContent = job.state === "cancelled" ? "Stopped. Open the page again to compute." : `No map: ${(job.problems || []).map((p) => `${p.what}; ${p.expected}`).join(" ")}`;
        byId("map-cancel").hidden = true;
        return;
      }
      byId("map-phase").textContent = `Computing field strengths, once: ${job.phase}. The first map after a start also compiles, and takes longer.`;
      await new Promise((go) => setTimeout(go, 400));
    }
    box.hidden = true;
    await redraw(true);
    if (early) early.remove();
  }
  byId("map-cancel").addEventListener("click", () => fetch(page.dataset.cancel, { method: "POST", headers: { "X-CSRF-Token": page.dataset.token, Accept: "application/json" } }));
  map.setView([0, 0], 2);
  if (page.dataset.job) follow(); else redraw(true);
})();
