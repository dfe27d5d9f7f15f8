// What lies over every map: lines and names, whose data they are, and the scale bar. One choice holds for all maps of a network.
"use strict";
const overlaysKept = (network) => {
  const name = `overlays-${network}`;
  return {
    get: () => { try { return localStorage.getItem(name) || ""; } catch { return ""; } },
    set: (text) => { try { if (text) localStorage.setItem(name, text); else localStorage.removeItem(name); } catch { /* a browser that keeps nothing */ } },
  };
};

// `root`: where the boxes stand, or are put; `asked`: keys of the address, null where it names none.
const overlaysOver = async (map, root, { credits, says, asked = null, changed = () => {} }) => {
  if (root.dataset.choices) {
    const answer = await fetch(root.dataset.choices, { headers: { Accept: "application/json" } }).catch(() => null);
    const found = answer?.ok ? (await answer.json()).overlays : [];
    root.hidden = !found.length;
    for (const one of found) {
      const label = Object.assign(document.createElement("label"), { className: "plain-label overlay" }), box = Object.assign(document.createElement("input"), { type: "checkbox" });
      Object.assign(box.dataset, { overlay: one.key, shapes: one.shapes, credit: one.credit, ...(one.usual ? { usual: "on" } : {}) });
      label.append(box, ` ${one.label} `, Object.assign(document.createElement("span"), { className: "quiet", textContent: one.credit }));
      says.before(label);
    }
  }
  const boxes = [...root.querySelectorAll("[data-overlay]")], kept = overlaysKept(root.dataset.overlays);
  map.createPane("overlays").style.zIndex = 240;
  const pen = L.canvas({ pane: "overlays", padding: 0.2 });
  const looks = { places: { color: "#1c2a31", weight: 1 }, names: { color: "#1c2a31", weight: 1 }, coast: { color: "#1d4f73", weight: 1.6 }, borders: { color: "#3d3346", weight: 1.8, dashArray: "7 3 2 3" }, roads: { color: "#4a4a42", weight: 1.4 } };
  const own = [{ color: "#5a2a6b", weight: 2 }, { color: "#7a2e12", weight: 2, dashArray: "6 3" }, { color: "#16424c", weight: 2, dashArray: "2 4" }];
  const drawn = new Map();
  const usual = boxes.filter((box) => box.dataset.usual).map((box) => box.dataset.overlay).join(",");
  const chosen = () => boxes.filter((box) => box.checked).map((box) => box.dataset.overlay).join(",");
  const unusual = () => (boxes.length && chosen() !== usual ? chosen() || "none" : "");

  async function show(box) {
    const key = box.dataset.overlay;
    if (!box.checked) {
      if (drawn.has(key)) { drawn.get(key).remove(); drawn.delete(key); }
      return;
    }
    if (drawn.has(key)) return;
    const answer = await fetch(box.dataset.shapes, { headers: { Accept: "application/json" } }).catch(() => null);
    if (!answer || !answer.ok) { says.textContent = "That overlay could not be fetched; open the page again."; return; }
    const found = await answer.json();
    if (!box.checked || drawn.has(key)) return;
    const style = looks[key] || own[boxes.filter((one) => !looks[one.dataset.overlay]).indexOf(box) % own.length];
    drawn.set(key, L.geoJSON(found, {
      pane: "overlays", interactive: false, style: () => ({ ...style, fill: false, renderer: pen, interactive: false }),
      pointToLayer: (feature, where) => L.circleMarker(where, { ...style, dashArray: null, radius: 3.5, fillOpacity: 1, renderer: pen, interactive: false }),
      onEachFeature: ({ geometry, properties }, layer) => {
        if (properties && properties.name && geometry.type === "Point") layer.bindTooltip(Object.assign(document.createElement("span"), { textContent: properties.name }), { permanent: true, direction: "right", className: "place-label", offset: [4, 0] });
      },
    }).addTo(map));
    if (found.says && !root.dataset.choices) says.textContent = found.says.join(" ");
  }
  function told() {
    credits.textContent = [...new Set(boxes.filter((box) => box.checked && box.dataset.credit).map((box) => box.dataset.credit))].join("; ");
  }
  const wanted = (asked === null ? kept.get() || usual : asked).split(",");
  for (const box of boxes) {
    box.checked = wanted.includes(box.dataset.overlay);
    box.addEventListener("change", () => { kept.set(unusual()); show(box); told(); changed(); });
    if (box.checked) show(box);
  }
  told();
  return unusual;
};

// The bar is true along the latitude that it is drawn at, near the lower edge; its length is the server's.
const scaleOver = (map, bar, address) => {
  let turn = 0, waiting = null;
  async function scale() {
    const mine = ++turn, size = map.getSize();
    if (!size.x) return;
    const at = (x) => map.containerPointToLatLng([x, size.y - 20]), left = at(0), right = at(size.x);
    const query = new URLSearchParams({ lat: Math.max(-90, Math.min(90, left.lat)), west: left.lng, east: right.lng });
    const answer = await fetch(`${address}?${query}`, { headers: { Accept: "application/json" } }).catch(() => null);
    const found = answer?.ok ? await answer.json() : null;
    if (mine !== turn) return;
    bar.hidden = !found;
    if (bar.hidden) return;
    bar.querySelector(".bar-km").textContent = found.km_text;
    bar.querySelector(".bar-us").textContent = found.us_text;
    bar.style.width = `${(found.width_ratio * size.x).toFixed(1)}px`;
    bar.setAttribute("aria-label", `Scale: the bar is ${found.km_text}, ${found.us_text} of travel`);
  }
  map.on("moveend zoomend resize", () => { clearTimeout(waiting); waiting = setTimeout(scale, 120); });
  scale();
  return scale;
};

// On paper a map is what the window shows, scale bar and all, drawn smaller: Leaflet lays nothing out anew while a browser prints.
const mapOnPaper = (map) => {
  const box = map.getContainer(), frame = box.parentElement, WIDE_PX = 665, TALL_PX = 640, MOST = 1.6;
  addEventListener("beforeprint", () => {
    const { clientWidth: wide, clientHeight: tall } = box;
    if (!wide || frame.classList.contains("on-paper")) return;
    frame.classList.add("on-paper");
    for (const one of [box, frame]) one.style.width = `${wide}px`;
    box.style.height = `${tall}px`;
    frame.style.zoom = Math.min(WIDE_PX / wide, TALL_PX / tall, MOST);
  });
  addEventListener("afterprint", () => {
    frame.classList.remove("on-paper");
    for (const one of [box, frame]) one.style.width = "";
    box.style.height = "";
    frame.style.zoom = "";
  });
};

// A smaller map: its tools, its foot, and the list of what may lie over it, stand in the template.
const smallMapOver = (map, sites) => {
  const foot = document.querySelector("[data-scale]"), root = document.querySelector(".over-choice[data-choices]");
  scaleOver(map, foot.querySelector(".scale-bar"), foot.dataset.scale);
  mapOnPaper(map);
  toolsOver(map, document.querySelector(".map-tools"), { sites: () => sites });
  overlaysOver(map, root, { credits: foot.querySelector(".overlay-credits"), says: root.querySelector(".overlay-says") });
};

// Drawings of a page, made by the server: what was turned off on another map is off on these too, and can be turned off
// beneath each. Asked again by whoever puts a new drawing in.
const overDrawings = () => {
  const all = () => document.querySelectorAll("[data-over-of]");
  const show = () => {
    for (const drawing of all()) {
      const now = overlaysKept(drawing.dataset.overOf).get();
      for (const part of drawing.querySelectorAll("[data-over]")) part.classList.toggle("turned-off", Boolean(now) && !now.split(",").includes(part.dataset.over));
      for (const box of drawing.querySelectorAll("[data-turns]")) box.checked = !now || now.split(",").includes(box.dataset.turns);
    }
  };
  const boxes = async (drawing) => {
    const here = new Set([...drawing.querySelectorAll("svg [data-over]")].map((part) => part.dataset.over)), kept = overlaysKept(drawing.dataset.overOf);
    if (!here.size || !drawing.dataset.choices || drawing.querySelector(".over-choice")) return;
    const list = Object.assign(document.createElement("details"), { className: "over-choice no-print" });
    list.append(Object.assign(document.createElement("summary"), { textContent: "Lines and names over the map" }));
    drawing.append(list);
    const answer = await fetch(drawing.dataset.choices, { headers: { Accept: "application/json" } }).catch(() => null), found = answer?.ok ? (await answer.json()).overlays : [];
    const usual = found.filter((one) => one.usual).map((one) => one.key);
    for (const one of found.filter(({ key }) => here.has(key))) {
      const label = Object.assign(document.createElement("label"), { className: "plain-label overlay" }), box = Object.assign(document.createElement("input"), { type: "checkbox" });
      box.dataset.turns = one.key;
      label.append(box, ` ${one.label} `);
      list.append(label);
      box.addEventListener("change", () => {
        const now = new Set(kept.get() ? kept.get().split(",") : usual);
        if (box.checked) now.add(one.key); else now.delete(one.key);
        const text = found.map(({ key }) => key).filter((key) => now.has(key)).join(",");
        kept.set(text === usual.join(",") ? "" : text || "none");
        show();
      });
    }
    show();
  };
  show();
  for (const drawing of all()) boxes(drawing);
};
overDrawings();
