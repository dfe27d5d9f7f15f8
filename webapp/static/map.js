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
  let picture = null, ribbon = null, lines = null, marks = null, shade = null, at = null, grid = null;
  let stands = false, moved = false; // the window has its place; somebody moved it
  const asked = new URLSearchParams(location.search);
  if (asked.get("swipe")) byId("swipe-on").checked = true;
  page.asked = asked; // as the page was opened: its address follows what is done here
  const numbers = (name, count) => {
    const found = (asked.get(name) || "").split(",").map(Number);
    return asked.get(name) && found.length === count && found.every(Number.isFinite) ? found : null;
  };
  const stood = numbers("view", 3);
  if (numbers("at", 2)) at = L.latLng(...numbers("at", 2));

  // What is tried, as the address has it.
  function tries() {
    const query = new URLSearchParams();
    for (const input of document.querySelectorAll("[data-try]")) {
      const typed = input.value.trim() || input.dataset.plan;
      if (typed !== input.dataset.plan) query.append(input.dataset.try, `${input.dataset.site}:${typed}`);
    }
    for (const route of document.querySelectorAll('select[name="route"]')) if (route.value) query.append("route", route.value);
    for (const box of document.querySelectorAll('input[name="off"]:checked')) query.append("off", box.value);
    for (const field of document.querySelectorAll("[data-window]")) if (field.value.trim() !== field.dataset.plan) query.append(field.name, field.value.trim());
    if (asked.get("state")) query.append("state", asked.get("state"));
    return query;
  }
  let settled = false; // whether classes go by drawn shares: pictures of them too
  const rule = (name) => (settled && name.startsWith("layer/") ? { drawn: "yes" } : {});
  const address = (name, more = {}) => {
    const query = tries();
    for (const [key, value] of Object.entries(rule(name))) query.append(key, value);
    for (const [key, value] of Object.entries(more)) query.append(key, value);
    const text = query.toString();
    return `${part}/${name}${text ? `?${text}` : ""}`;
  };
  page.mapAddress = address; // for the scripts beside this one
  page.planAddress = (name) => {
    const text = new URLSearchParams({ ...(asked.get("state") ? { state: asked.get("state") } : {}), ...rule(name) }).toString();
    return `${part}/${name}${text ? `?${text}` : ""}`;
  };
  page.tries = tries; // for the scripts beside this one
  // The page's own address: area, layer, pair, point, window, panel, and what is tried.
  function state() {
    const query = new URLSearchParams();
    for (const key of ["bounds", "pixel_m", "streets", "road"]) if (asked.get(key)) query.set(key, asked.get(key));
    if (chosen() !== "quality_class") query.set("layer", chosen() || "none");
    if (byId("pair").value) query.set("pair", JSON.parse(byId("pair").value).join(":"));
    else if (!view && asked.get("pair")) query.set("pair", asked.get("pair"));
    if (at) query.set("at", `${at.lat.toFixed(6)},${at.lng.toFixed(6)}`);
    const middle = map.getCenter();
    if (!stands && stood) query.set("view", stood.join(","));
    else if (moved) query.set("view", `${middle.lat.toFixed(5)},${middle.lng.toFixed(5)},${map.getZoom()}`);
    if (page.dataset.panel && page.dataset.panel !== (at ? "here" : "figures")) query.set("panel", page.dataset.panel);
    if (byId("swipe-on").checked) query.set("swipe", "yes");
    const over = page.overlaysAsked ? page.overlaysAsked() : asked.get("overlays");
    if (over) query.set("overlays", over);
    for (const [key, value] of tries()) query.append(key, value);
    const text = query.toString();
    return page.dataset.page + (text ? `?${text}` : "");
  }
  // The address, and with it those of the pages that show a try too.
  function kept() {
    const now = state(), stands = new URL(now, location).searchParams;
    history.replaceState(null, "", now);
    for (const input of document.querySelectorAll("[data-stands]")) input.value = stands.get(input.dataset.stands) || "";
    const text = tries().toString();
    for (const tab of document.querySelectorAll("a[data-tries]")) tab.href = tab.dataset.tries + (text ? `?${text}` : "");
  }
  page.keepAddress = kept;
  const chosen = () => (byId("layer").value === "none" ? "" : byId("layer").value);

  function graticule() {
    if (grid) grid.remove();
    grid = L.layerGroup().addTo(map);
    const view = map.getBounds(), degrees = Math.max(view.getEast() - view.getWest(), 1e-6) / map.getSize().x;
    const step = [0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5].find((s) => s / degrees >= 90) || 10; // room for a label
    const digits = step < 0.01 ? 3 : step < 0.1 ? 2 : step < 1 ? 1 : 0;
    const style = { color: "#8d8670", weight: 0.7, opacity: 0.6, interactive: false };
    const say = (where, text) => L.marker(where, { keyboard: false, interactive: false, icon: L.divIcon({ className: "graticule", html: text, iconSize: null }) }).addTo(grid);
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
    const held = document.activeElement?.dataset?.mark; // a mark that the keyboard stands on
    if (marks) marks.remove();
    marks = L.layerGroup().addTo(map);
    for (const site of sites) {
      const tick = site.offset_us > 0 ? '<line x1="12" y1="12" x2="23" y2="12"/>' : site.offset_us < 0 ? '<line x1="1" y1="12" x2="12" y2="12"/>' : "";
      const html = `<svg width="24" height="24" class="site-mark${site.on_air ? "" : " off"}"><circle cx="12" cy="12" r="6" fill="${/^#[0-9a-f]{6}$/.test(site.colour) ? site.colour : "#fff"}"/>${tick}</svg>`;
      const label = document.createElement("span");
      const signed = (us) => `${us >= 0 ? "+" : "−"}${Number(Math.abs(us).toFixed(3))} µs`;
      label.textContent = `${site.name}, ${signed(site.offset_us)}${site.clock_us ? `, clock ${signed(site.clock_us)}` : ""}${site.route === "main" ? "" : `, ${site.route}`}${site.on_air ? "" : ", not transmitting"}`;
      const mark = L.marker([site.lat, site.lon], { icon: L.divIcon({ className: "site-icon", html, iconSize: [24, 24], iconAnchor: [12, 12] }) })
        .bindTooltip(label, { permanent: sites.length <= 6, direction: "right", offset: [10, 0], className: "site-label" }).addTo(marks);
      mark.getElement().setAttribute("aria-label", label.textContent); // before anybody hears of it, too
      page.dispatchEvent(new CustomEvent("marked", { detail: { site, mark: mark.getElement(), says: label.textContent } }));
      if (held === site.id) mark.getElement().focus();
    }
  }

  function overlay(old, url, bounds, pane, opacity) {
    const made = L.imageOverlay(url, bounds, { pane, opacity, interactive: false, className: "pixels" }).addTo(map);
    // What cannot be drawn leaves the last picture in its place.
    if (old) made.once("load", () => old.remove()).once("error", () => { made.remove(); if (picture === made) picture = old; });
    return made;
  }

  let drawing = 0;
  async function wavefronts(bounds) {
    const mine = ++drawing;
    const pair = byId("pair").value, says = byId("ribbon-say");
    if (ribbon) { ribbon.remove(); ribbon = null; }
    if (lines) { lines.remove(); lines = null; }
    says.replaceChildren();
    if (!pair) return;
    const [a, b] = JSON.parse(pair), names = Object.fromEntries(view.sites.map((site) => [site.id, site.name])), stopped = view.sites.find((site) => (site.id === a || site.id === b) && !site.on_air);
    if (stopped) {
      says.textContent = `No wavefronts: ${stopped.name} is not transmitting.`;
      return;
    }
    says.append(Object.assign(document.createElement("span"), { className: "ribbon-key" }), `${byId("pair").selectedOptions[0].text} arrive within ${view.tolerance} of each other. Labels of the lines: ${names[b]} minus ${names[a]}, positive where ${names[b]} is later. Strong where their levels match, faint elsewhere. The ribbon tints the layer beneath it; “no layer” shows it alone.`);
    ribbon = overlay(null, address("ribbon.png", { a, b }), bounds, "ribbon", 0.85);
    const answer = await fetch(address("lines.json", { a, b }));
    const drawn = answer.ok ? await answer.json() : null;
    if (!drawn || mine !== drawing) return;
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
      return L.marker([lat, lon], { keyboard: false, interactive: false, icon: L.divIcon({ className: "line-label", html: text, iconSize: null }) });
    });
    lines = L.layerGroup([lines, ...labels]).addTo(map);
  }

  function legend() {
    const shown = byId("legend"), name = chosen();
    shown.hidden = !name;
    byId("legend-clear").textContent = byId("layer").selectedOptions[0].dataset.clear || "no layer";
    if (!name) return;
    const wanted = `${part}/legend/${name}.svg`;
    if (!shown.src.endsWith(wanted)) shown.src = wanted;
    shown.alt = `Legend: ${byId("layer").selectedOptions[0].text}`;
  }

  // Pairs that meet somewhere, the one that is chosen among them.
  function pairs(held) {
    const select = byId("pair"), names = Object.fromEntries(view.sites.map((site) => [site.id, site.name]));
    const offered = view.pairs.map((pair) => JSON.stringify(pair));
    if (held && !offered.includes(held) && JSON.parse(held).every((id) => id in names)) offered.push(held);
    const option = (value) => new Option(value ? JSON.parse(value).map((id) => names[id]).join(" – ") : "none", value, false, value === held);
    select.replaceChildren(...["", ...offered].map(option));
  }

  let turn = 0, view = null;
  async function redraw() {
    const mine = ++turn, first = !view, name = chosen();
    settled = false;
    kept();
    // The picture is on its way while the numbers are worked out.
    if (view && name) picture = overlay(picture, address(`layer/${name}.png`), view.bounds, "layer", byId("opacity").value / 100);
    if (!name && picture) { picture.remove(); picture = null; }
    legend();
    const answer = await fetch(address("view.json"), { headers: { Accept: "application/json" } });
    if (mine !== turn) return;
    for (const input of document.querySelectorAll("[data-try]")) input.removeAttribute("aria-invalid");
    if (!answer.ok) {
      const said = await answer.json().catch(() => ({ problems: [] }));
      if (!first && (said.problems || []).some((p) => p.code === "levels-to-be-computed")) { location.assign(state()); return; } // the page works out that site
      const line = (text) => Object.assign(document.createElement("p"), { className: "assumed", textContent: text });
      byId("map-try").replaceChildren(...(said.problems || []).map((p) => line(`${p.what}; ${p.expected}`)), line("The map below does not follow what is typed."));
      for (const problem of said.problems || []) document.getElementById(problem.where)?.setAttribute("aria-invalid", "true");
      page.classList.add("is-tried");
      byId("map-summary").replaceChildren();
      byId("try-short").textContent = "";
      return;
    }
    view = await answer.json();
    byId("map-try").innerHTML = view.says; // templates of ours, escaped there
    byId("map-summary").innerHTML = view.summary;
    byId("try-short").textContent = view.short;
    byId("swipe-plan").textContent = view.served_planned;
    byId("swipe-try").textContent = view.served_tried;
    shares(mine);
    page.classList.toggle("is-tried", Boolean(view.says.trim()));
    for (const input of document.querySelectorAll("[data-keep]")) {
      const typed = document.querySelector(`[data-try="${input.dataset.figure || "offset"}"][data-site="${CSS.escape(input.dataset.keep)}"]`);
      input.value = typed.value.trim() === typed.dataset.plan ? "" : typed.value.trim();
    }
    if (first) {
      if (view.has_shade) shade = overlay(null, `${part}/shade.png`, view.bounds, "ground", 1);
      if (name) picture = overlay(picture, address(`layer/${name}.png`), view.bounds, "layer", byId("opacity").value / 100);
      if (asked.get("pair")) pairs(JSON.stringify(asked.get("pair").split(":")));
      if (at) pinned(at);
    }
    pairs(byId("pair").value);
    if (first) kept();
    siteMarks(view.sites);
    page.shownBounds = view.bounds;
    page.shownSites = view.sites;
    page.dispatchEvent(new Event("redrawn"));
    await wavefronts(view.bounds);
    if (at && !first) signals(at);
  }

  // Seconds of work, which follow the map once nothing has changed for a while: one at a time, else every key pressed adds its own.
  let sharing = false, resting = null;
  function shares(mine) {
    clearTimeout(resting);
    if (byId("shares-say") && !sharing) resting = setTimeout(() => share(mine), 800);
  }
  async function share(mine) {
    sharing = true;
    const answer = await fetch(address("shares.json"), { headers: { Accept: "application/json" } }).catch(() => null);
    const drawn = answer?.ok ? await answer.json() : null;
    sharing = false;
    if (mine !== turn) { shares(turn); return; }
    if (!drawn) {
      if (byId("shares-say")) byId("shares-say").textContent = "Shares with levels drawn could not be worked out: classes and figures are the quick estimate.";
      return;
    }
    const open = [...byId("map-summary").querySelectorAll("details")].map((one) => one.open);
    byId("map-summary").innerHTML = drawn.summary; // a template of ours, escaped there
    byId("map-summary").querySelectorAll("details").forEach((one, k) => { if (k < open.length) one.open = open[k]; });
    byId("try-short").textContent = drawn.short;
    byId("swipe-plan").textContent = drawn.served_planned;
    byId("swipe-try").textContent = drawn.served_tried;
    settled = true;
    if (chosen() && picture) picture = overlay(picture, address(`layer/${chosen()}.png`), view.bounds, "layer", byId("opacity").value / 100);
    page.dispatchEvent(new Event("redrawn"));
    if (at) signals(at, true);
  }

  // The same place with the same tries, after the shares: two signals that are being made to meet there stay as they stand,
  // the name that is being typed and the button under the finger among them.
  function beside(text) {
    const here = byId("point-part"), fresh = document.createElement("template"), meet = byId("meet");
    fresh.innerHTML = text; // a template of ours, escaped there
    const parts = [...fresh.content.childNodes], twin = parts.findIndex((one) => one.id === "meet");
    if (!meet || twin < 0) { here.replaceChildren(...parts); return; }
    const open = [...here.querySelectorAll(":scope > details")].map((one) => one.open);
    for (const one of [...here.childNodes]) if (one !== meet) one.remove();
    meet.before(...parts.slice(0, twin));
    meet.after(...parts.slice(twin + 1));
    here.querySelectorAll(":scope > details").forEach((one, k) => { one.open = open[k] ?? one.open; });
  }

  let clicks = 0;
  async function signals(where, follows = false) {
    const mine = ++clicks;
    const query = tries();
    query.append("lat", where.lat.toFixed(7));
    query.append("lon", L.Util.wrapNum(where.lng, [-180, 180], true).toFixed(7));
    query.append("map", part.split("/").pop()); // its pixel there stands beside the place
    // What stands in the panel is another place's: it must not be taken for this one's while the server works.
    const late = follows ? null : setTimeout(() => { byId("point-part").innerHTML = '<p class="quiet" role="status">Working out the signals there…</p>'; }, 250);
    const answer = await fetch(`${page.dataset.point}?${query}`);
    clearTimeout(late);
    if (mine !== clicks) return;
    if (follows && answer.ok) { beside(await answer.text()); return; }
    byId("point-part").innerHTML = answer.ok ? await answer.text() : '<p class="assumed">No signals could be worked out there.</p>';
  }

  let pin = null;
  function pinned(where) {
    at = where;
    if (pin) pin.remove();
    pin = L.circleMarker(at, { radius: 5, color: "#a3430f", fillOpacity: 0, interactive: false }).addTo(map);
    signals(at);
    page.dispatchEvent(new CustomEvent("pinned", { detail: at }));
  }
  const clicked = (where) => {
    if (map.measuring) return; // the ruler takes it
    page.showPanel("here");
    pinned(where);
    kept();
  };
  map.on("click", (event) => clicked(event.latlng));
  page.clickAt = clicked;
  byId("map").addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || event.target !== byId("map")) return;
    event.preventDefault();
    clicked(map.getCenter());
  });
  map.on("moveend", graticule);
  byId("opacity").addEventListener("input", (event) => picture && picture.setOpacity(event.target.value / 100));
  byId("pair").addEventListener("change", redraw);
  byId("layer").addEventListener("change", redraw);
  byId("this-view").addEventListener("click", () => {
    const b = map.getBounds();
    byId("bounds").value = [b.getSouth(), b.getWest(), b.getNorth(), b.getEast()].map((v) => v.toFixed(4)).join(",");
  });
  let waiting = null;
  byId("tries").addEventListener("input", (event) => {
    if (!event.target.matches('[data-try], [data-window], [name="route"], [name="off"]')) return;
    clearTimeout(waiting);
    // While a number is typed the map waits for its end; a switch acts at once.
    waiting = setTimeout(redraw, event.target.matches('[data-try="antenna-height"], [data-try="position"], [data-try="ground-height"]') ? 1200 : event.target.matches("input[data-try], input[data-window]") ? 150 : 0);
  });
  byId("map-try").addEventListener("click", (event) => {
    if (event.target.id !== "back-to-plan") return;
    event.preventDefault();
    for (const input of document.querySelectorAll("[data-try]")) input.value = input.dataset.plan;
    for (const route of document.querySelectorAll('select[name="route"]')) route.value = "";
    for (const box of document.querySelectorAll('input[name="off"]')) box.checked = false;
    for (const field of document.querySelectorAll("[data-window]")) field.value = field.dataset.plan;
    redraw();
  });
  // Another area keeps what is tried.
  byId("view").addEventListener("submit", (event) => {
    event.preventDefault();
    for (const key of ["bounds", "pixel_m"]) asked.set(key, byId(key).value.trim());
    asked.set("streets", document.querySelector('[name="streets"]').checked ? "true" : "");
    location.assign(state());
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
    shown = found.sites.length;
    early = overlay(early, `${part}/so-far.png?sites=${shown}`, found.bounds, "layer", byId("opacity").value / 100);
    const box_legend = byId("legend");
    box_legend.src = `${part}/so-far.svg`;
    box_legend.alt = "Legend of the level of the strongest so far";
    box_legend.hidden = false;
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
    await redraw();
    if (early) early.remove();
  }
  byId("map-cancel").addEventListener("click", () => fetch(page.dataset.cancel, { method: "POST", headers: { "X-CSRF-Token": page.dataset.token, Accept: "application/json" } }));
  // The network's area and its sites, before any level is there.
  if (stood) map.setView([stood[0], stood[1]], stood[2], { animate: false });
  else map.fitBounds(JSON.parse(page.dataset.corners), { animate: false });
  stands = true;
  moved = Boolean(stood);
  map.on("moveend", () => kept());
  map.on("dragend zoomend", () => { moved = true; kept(); });
  map.getContainer().addEventListener("keydown", () => { moved = true; });
  siteMarks(JSON.parse(page.dataset.sites));

  // Looking at the page starts nothing: its levels are asked for with the form's token, by itself where the page says so.
  const start = byId("start");
  async function begin() {
    const sent = { method: "POST", body: new URLSearchParams(new FormData(start)), headers: { Accept: "application/json" } };
    const answer = await fetch(start.action, sent);
    const told = (answer.headers.get("Content-Type") || "").startsWith("application/json") ? await answer.json() : {};
    if (!answer.ok) {
      byId("start-says").textContent = `No map: ${(told.problems || []).map((p) => `${p.what}; ${p.expected}`).join(" ") || "it could not be started."}`;
      return;
    }
    start.hidden = true;
    if (!told.url) { redraw(); return; } // the levels are there by now
    page.dataset.job = told.url;
    page.dataset.cancel = told.cancel_url;
    follow();
  }
  if (start) {
    start.addEventListener("submit", (event) => {
      event.preventDefault();
      begin();
    });
    if (start.dataset.byItself) begin();
  } else if (page.dataset.job) follow(); else redraw();
})();
