// Ruler, scale bar, position under the pointer and places by name; lengths and times are the server's.
"use strict";
(() => {
  const page = document.getElementById("map-page");
  if (!page || !page.leaflet) return;
  const map = page.leaflet, byId = (id) => document.getElementById(id);
  const asked = (address, query) => fetch(`${address}?${new URLSearchParams(query)}`, { headers: { Accept: "application/json" } }).then((answer) => (answer.ok ? answer.json() : null)).catch(() => null);
  const wrapped = (lon) => L.Util.wrapNum(lon, [-180, 180], true);
  const said = (where) => `${Math.abs(where.lat).toFixed(5)}° ${where.lat < 0 ? "S" : "N"}, ${Math.abs(wrapped(where.lng)).toFixed(5)}° ${wrapped(where.lng) < 0 ? "W" : "E"}`;

  map.on("mousemove", ({ latlng }) => { byId("cursor-at").textContent = said(latlng); });
  map.on("mouseout", () => { byId("cursor-at").textContent = ""; });
  // By the keyboard the middle of the map is the pointer.
  byId("map").addEventListener("focus", () => { byId("cursor-at").textContent = `middle ${said(map.getCenter())}`; });

  mapOnPaper(map);
  addEventListener("beforeprint", () => { byId("legend-fold").open = true; });
  page.addEventListener("redrawn", scaleOver(map, byId("scale-bar"), page.dataset.scale));

  // The ruler: two clicks, on a site where one is close; a third begins anew.
  const on = byId("ruler-on"), says = byId("ruler-says");
  let measuring = false, ends = [], sketch = null, mine = 0;
  const near = (where) => {
    const at = map.latLngToContainerPoint(where);
    return (page.shownSites || []).map((site) => ({ site, away: at.distanceTo(map.latLngToContainerPoint([site.lat, site.lon])) })).filter((one) => one.away <= 14).sort((a, b) => a.away - b.away)[0]?.site;
  };
  function draw() {
    if (sketch) sketch.remove();
    const style = { color: "#1c2a31", weight: 2.5, interactive: false };
    sketch = L.layerGroup([L.polyline(ends.map((one) => one.at), { ...style, dashArray: "7 4" }), ...ends.map((one) => L.circleMarker(one.at, { ...style, radius: 4, fillOpacity: 1, fillColor: "#fdfbf5" }))]).addTo(map);
  }
  async function tell() {
    const turn = ++mine;
    says.hidden = !measuring;
    if (ends.length < 2) {
      says.textContent = ends.length ? `From ${ends[0].name}: click the other end.` : "Ruler: click one end, then the other; on a site it takes the site. By keyboard: Enter takes the middle of the map. Escape ends.";
      return;
    }
    const [a, b] = ends;
    const found = await asked(page.dataset.ruler, { lat: a.at.lat, lon: wrapped(a.at.lng), to_lat: b.at.lat, to_lon: wrapped(b.at.lng) });
    if (turn === mine) says.textContent = found ? `${a.name} to ${b.name}: ${found.says}.` : "That could not be measured.";
  }
  function turned(to) {
    measuring = to;
    ends = [];
    on.setAttribute("aria-pressed", String(to));
    page.classList.toggle("measuring", to);
    if (sketch) { sketch.remove(); sketch = null; }
    tell();
  }
  page.clickTaken = (where) => {
    if (!measuring) return false;
    if (ends.length === 2) ends = [];
    const site = near(where);
    ends.push(site ? { at: L.latLng(site.lat, site.lon), name: site.name } : { at: where, name: said(where) });
    draw();
    tell();
    return true;
  };
  on.addEventListener("click", () => turned(!measuring));
  document.addEventListener("keydown", (event) => { if (event.key === "Escape" && measuring) turned(false); });

  // Places by name.
  const box = byId("find-place"), list = byId("found-places");
  let found = [], chosen = -1, typed = 0;
  function shown(open) {
    list.hidden = !open;
    box.setAttribute("aria-expanded", String(open));
    [...list.children].forEach((line, i) => line.setAttribute("aria-selected", String(i === chosen)));
    if (chosen >= 0 && open && found.length) box.setAttribute("aria-activedescendant", `place-${chosen}`); else box.removeAttribute("aria-activedescendant");
  }
  async function search() {
    const mine = ++typed, text = box.value.trim();
    if (!text) { found = []; list.replaceChildren(); shown(false); return; }
    const answer = (await asked(page.dataset.places, { q: text }))?.places || [];
    if (mine !== typed) return;
    found = answer;
    chosen = found.length ? 0 : -1;
    list.replaceChildren(...found.map((one, i) => {
      const line = Object.assign(document.createElement("li"), { id: `place-${i}`, textContent: one.name }), more = document.createElement("small");
      line.setAttribute("role", "option");
      more.textContent = one.kind === "place" ? `${Math.round(one.people)} people` : one.kind;
      line.append(more);
      line.addEventListener("mousedown", (event) => { event.preventDefault(); go(i); });
      return line;
    }));
    if (!found.length) list.append(Object.assign(document.createElement("li"), { className: "quiet", textContent: "No site, town or position like that." }));
    shown(true);
  }
  function go(i) {
    const one = found[i];
    if (!one) return;
    shown(false);
    box.value = one.name;
    map.setView([one.lat_deg, one.lon_deg], Math.max(map.getZoom(), 12), { animate: false });
    page.clickAt(L.latLng(one.lat_deg, one.lon_deg));
  }
  let pause = null;
  box.addEventListener("input", () => { clearTimeout(pause); pause = setTimeout(search, 150); });
  box.addEventListener("keydown", async (event) => {
    if (event.key === "Escape") { shown(false); return; }
    if (event.key === "Enter") { event.preventDefault(); clearTimeout(pause); if (list.hidden) await search(); go(chosen); return; }
    const by = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (!by || !found.length) return;
    event.preventDefault();
    chosen = (chosen + by + found.length) % found.length;
    shown(true);
  });
  box.addEventListener("blur", () => setTimeout(() => shown(false), 150));
})();
