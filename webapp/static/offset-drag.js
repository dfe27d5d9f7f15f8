// Offsets dragged on the map, once that is switched on: a handle beneath each site's mark, right for later, left for
// earlier, by whole steps of its device. A drag tries and never saves; Escape and a button take it back.
"use strict";
(() => {
  const page = document.getElementById("map-page"), byId = (id) => document.getElementById(id);
  if (!page || !page.leaflet) return;
  const map = page.leaflet, STEP_PX = 4, LEAST_PX = 10; // a hand that only trembles drags nothing
  const field = (site) => document.querySelector(`[data-try="offset"][data-site="${CSS.escape(site)}"][data-step]`);
  const number = (text) => Number(text.trim().replace("\u2212", "-").replace(",", "."));
  const said = (us) => `${us < 0 ? "\u2212" : "+"}${Number(Math.abs(us).toPrecision(12))}\u202f\u00b5s`;
  const handles = new Map(), before = []; // what stood before each drag, the last at the end
  let on = false, drag = null;
  map.createPane("handles").style.zIndex = 640; // over the marks

  function typed(site, text) {
    const input = field(site);
    if (!input || input.value === text) return;
    input.value = text;
    input.dispatchEvent(new Event("input", { bubbles: true }));
  }
  function label(site) {
    const input = field(site.id), made = handles.get(site.id)?.getElement();
    if (!input || !made) return;
    const tried = input.value.trim() !== input.dataset.plan;
    made.classList.toggle("off-plan", tried);
    made.querySelector(".handle-says").textContent = tried ? `tried ${said(number(input.value))}, plan ${said(number(input.dataset.plan))}` : "";
  }
  function draw() {
    if (drag) return; // the handle under the hand stays
    for (const one of handles.values()) one.remove();
    handles.clear();
    for (const site of on ? page.shownSites || [] : []) {
      if (!field(site.id)) continue;
      const icon = L.divIcon({ className: "offset-handle", html: '<span class="handle-grip" aria-hidden="true">◂ ▸</span><span class="handle-says"></span>', iconSize: [56, 26], iconAnchor: [28, -10] });
      const mark = L.marker([site.lat, site.lon], { icon, pane: "handles", keyboard: false, interactive: false }).addTo(map);
      handles.set(site.id, mark);
      const grip = mark.getElement();
      grip.dataset.handle = site.id;
      grip.title = `${site.name}: drag right for later, left for earlier`;
      grip.addEventListener("pointerdown", (event) => begun(event, site, grip));
      for (const kind of ["mousedown", "touchstart", "click", "dblclick"]) grip.addEventListener(kind, (event) => event.stopPropagation()); // the map stays
      label(site);
    }
  }
  function begun(event, site, grip) {
    if (event.button || drag) return;
    event.preventDefault();
    event.stopPropagation();
    grip.setPointerCapture(event.pointerId);
    const input = field(site.id);
    drag = { site, grip, id: event.pointerId, x: event.clientX, from: input.value, us: number(input.value), step: Number(input.dataset.step), moved: false };
    grip.classList.add("held");
  }
  function moved(event) {
    if (!drag || event.pointerId !== drag.id || !Number.isFinite(drag.us)) return;
    const by_px = event.clientX - drag.x, slider = document.querySelector(`[data-slide="${CSS.escape(drag.site.id)}"]`);
    if (!drag.moved && Math.abs(by_px) < LEAST_PX) return;
    drag.moved = true;
    const steps = Math.round((by_px - Math.sign(by_px) * (LEAST_PX - STEP_PX)) / STEP_PX), wanted = drag.us + steps * drag.step;
    const us = slider ? Math.max(Number(slider.min), Math.min(Number(slider.max), wanted)) : wanted;
    typed(drag.site.id, String(Number(us.toPrecision(12))));
    drag.grip.style.setProperty("translate", `${by_px}px 0`);
    label(drag.site);
    byId("drag-says").textContent = `${drag.site.name}: ${said(us)}, ${us === wanted ? "" : "as far as its device goes, "}a try. Escape takes it back.`;
  }
  function ended(keep) {
    if (!drag) return;
    const done = drag;
    drag = null;
    if (done.grip.hasPointerCapture(done.id)) done.grip.releasePointerCapture(done.id);
    if (!keep) typed(done.site.id, done.from);
    else if (done.moved && field(done.site.id).value !== done.from) before.push({ site: done.site, value: done.from });
    say(keep && done.moved ? `${done.site.name}: ${said(number(field(done.site.id).value))}, tried, not saved.` : done.moved ? "Taken back." : "");
    draw();
  }
  function say(text) {
    byId("drag-says").textContent = text;
    byId("drag-back").hidden = !before.length;
  }
  function back() {
    const last = before.pop();
    if (!last) return;
    typed(last.site.id, last.value);
    say(`${last.site.name}: taken back to ${said(number(last.value))}.`);
    draw();
  }
  function turned(now) {
    on = now;
    byId("drag-on").setAttribute("aria-pressed", String(on));
    say(on ? "Drag a handle on the map: right is later, left earlier. Nothing is saved." : "");
    draw();
  }

  byId("drag-tools").hidden = false;
  byId("drag-on").addEventListener("click", () => turned(!on));
  byId("drag-back").addEventListener("click", back);
  window.addEventListener("pointermove", moved);
  window.addEventListener("pointerup", (event) => { if (drag && event.pointerId === drag.id) ended(true); });
  window.addEventListener("pointercancel", (event) => { if (drag && event.pointerId === drag.id) ended(false); });
  window.addEventListener("blur", () => ended(false));
  window.addEventListener("keydown", (event) => {
    if (event.key !== "Escape" || !on || event.target.matches("input, select, textarea")) return;
    if (drag) ended(false); else if (before.length) back(); else turned(false);
  });
  byId("tries").addEventListener("input", (event) => { if (on && event.target.matches("[data-step]") && !drag) for (const site of page.shownSites || []) label(site); });
  page.addEventListener("redrawn", draw);
})();
