// Ruler, position under the pointer and places by name, one part for every live map; lengths and times are the server's.
// Whoever listens to clicks on the map leaves those alone that come while `map.measuring` is true.
"use strict";
// `sites`: marks that the ruler takes whole; `found`: what becomes of a place that was found. Gives back what the ruler does with a click.
const toolsOver = (map, tools, { sites = () => [], found: went } = {}) => {
  const byId = (id) => document.getElementById(id), box = map.getContainer();
  const asked = (address, query) => fetch(`${address}?${new URLSearchParams(query)}`, { headers: { Accept: "application/json" } }).then((answer) => (answer.ok ? answer.json() : null)).catch(() => null);
  const wrapped = (lon) => L.Util.wrapNum(lon, [-180, 180], true);
  const said = (where) => `${Math.abs(where.lat).toFixed(5)}° ${where.lat < 0 ? "S" : "N"}, ${Math.abs(wrapped(where.lng)).toFixed(5)}° ${wrapped(where.lng) < 0 ? "W" : "E"}`;
  tools.hidden = false;

  // By the keyboard the middle of the map is the pointer.
  const cursor = byId("cursor-at");
  let pointed = false;
  const middle = () => { if (!pointed && document.activeElement === box) cursor.textContent = `middle ${said(map.getCenter())}`; };
  map.on("mousemove click", ({ latlng }) => { pointed = true; cursor.textContent = said(latlng); });
  box.addEventListener("mouseleave", () => { pointed = false; cursor.textContent = ""; middle(); });
  box.addEventListener("keydown", () => { pointed = false; });
  box.addEventListener("focus", middle);
  box.addEventListener("blur", () => { if (!pointed) cursor.textContent = ""; });
  map.on("moveend", middle);

  // The ruler: two clicks, on a site where one is close; a third begins anew.
  const on = byId("ruler-on"), says = byId("ruler-says");
  let ends = [], sketch = null, mine = 0;
  map.measuring = false;
  const near = (where) => {
    const at = map.latLngToContainerPoint(where);
    return sites().map((site) => ({ site, away: at.distanceTo(map.latLngToContainerPoint([site.lat, site.lon])) })).filter((one) => one.away <= 14).sort((a, b) => a.away - b.away)[0]?.site;
  };
  function draw() {
    if (sketch) sketch.remove();
    const style = { color: "#1c2a31", weight: 2.5, interactive: false };
    sketch = L.layerGroup([L.polyline(ends.map((one) => one.at), { ...style, dashArray: "7 4" }), ...ends.map((one) => L.circleMarker(one.at, { ...style, radius: 4, fillOpacity: 1, fillColor: "#fdfbf5" }))]).addTo(map);
  }
  async function tell() {
    const turn = ++mine;
    says.hidden = !map.measuring;
    if (ends.length < 2) {
      says.textContent = ends.length ? `From ${ends[0].name}: click the other end.` : "Ruler: click one end, then the other; on a site it takes the site. By keyboard: Enter takes the middle of the map. Escape ends.";
      return;
    }
    const [a, b] = ends;
    const found = await asked(tools.dataset.ruler, { lat: a.at.lat, lon: wrapped(a.at.lng), to_lat: b.at.lat, to_lon: wrapped(b.at.lng) });
    if (turn === mine) says.textContent = found ? `${a.name} to ${b.name}: ${found.says}.` : "That could not be measured.";
  }
  function turned(to) {
    map.measuring = to;
    ends = [];
    on.setAttribute("aria-pressed", String(to));
    box.classList.toggle("measuring", to);
    if (sketch) { sketch.remove(); sketch = null; }
    tell();
  }
  const taken = (where) => {
    if (!map.measuring) return false;
    if (ends.length === 2) ends = [];
    const site = near(where);
    ends.push(site ? { at: L.latLng(site.lat, site.lon), name: site.name } : { at: where, name: said(where) });
    draw();
    tell();
    return true;
  };
  on.addEventListener("click", () => turned(!map.measuring));
  map.on("click", ({ latlng }) => taken(latlng));
  map.on("drawing", () => turned(false)); // the page draws a line of its own
  box.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || event.target !== box || !map.measuring) return;
    event.preventDefault();
    taken(map.getCenter());
  });
  document.addEventListener("keydown", (event) => { if (event.key === "Escape" && map.measuring) turned(false); });

  // Places by name.
  const typedIn = byId("find-place"), list = byId("found-places");
  let found = [], chosen = -1, typed = 0, flag = null;
  function shown(open) {
    list.hidden = !open;
    typedIn.setAttribute("aria-expanded", String(open));
    [...list.children].forEach((line, i) => line.setAttribute("aria-selected", String(i === chosen)));
    if (chosen >= 0 && open && found.length) typedIn.setAttribute("aria-activedescendant", `place-${chosen}`); else typedIn.removeAttribute("aria-activedescendant");
  }
  async function search() {
    const turn = ++typed, text = typedIn.value.trim();
    if (!text) {
      found = [];
      list.replaceChildren();
      shown(false);
      if (flag) { flag.remove(); flag = null; }
      return;
    }
    const answer = (await asked(tools.dataset.places, { q: text }))?.places || [];
    if (turn !== typed) return;
    found = answer;
    chosen = found.length ? 0 : -1;
    list.replaceChildren(...found.map((one, i) => {
      const line = Object.assign(document.createElement("li"), { id: `place-${i}`, textContent: one.name }), more = document.createElement("small");
      line.setAttribute("role", "option");
      more.textContent = one.kind === "place" ? `${Math.round(one.people)} people; ${one.source}` : one.source;
      line.append(more);
      line.addEventListener("mousedown", (event) => { event.preventDefault(); go(i); });
      return line;
    }));
    if (!found.length) list.append(Object.assign(document.createElement("li"), { className: "quiet", textContent: "No site, town or position like that." }));
    shown(true);
  }
  // Where a page makes nothing more of it, the place is marked with its name.
  function marked(one, where) {
    if (flag) flag.remove();
    const label = Object.assign(document.createElement("span"), { textContent: one.name });
    if (one.source) label.append(document.createElement("br"), Object.assign(document.createElement("small"), { textContent: one.source }));
    flag = L.circleMarker(where, { radius: 7, color: "#a3430f", weight: 3, fillOpacity: 0, interactive: false }).bindTooltip(label, { permanent: true, direction: "top", className: "site-label" }).addTo(map);
  }
  function go(i) {
    const one = found[i];
    if (!one) return;
    const where = L.latLng(one.lat_deg, one.lon_deg);
    shown(false);
    typedIn.value = one.name;
    map.setView(where, Math.max(map.getZoom(), 12), { animate: false });
    if (!taken(where)) (went || marked)(...(went ? [where] : [one, where]));
  }
  let pause = null;
  typedIn.addEventListener("input", () => { clearTimeout(pause); pause = setTimeout(search, 150); });
  typedIn.addEventListener("keydown", async (event) => {
    if (event.key === "Escape") { shown(false); return; }
    if (event.key === "Enter") { event.preventDefault(); clearTimeout(pause); if (list.hidden) await search(); go(chosen); return; }
    const by = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (!by || !found.length) return;
    event.preventDefault();
    chosen = (chosen + by + found.length) % found.length;
    shown(true);
  });
  typedIn.addEventListener("blur", () => setTimeout(() => shown(false), 150));
  return taken;
};
