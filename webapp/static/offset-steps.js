// Offsets by the device's steps: arrow keys in a field and at a site's mark on the map, and a slider beside the field.
"use strict";
(() => {
  const page = document.getElementById("map-page");
  if (!page || !page.leaflet) return;
  const field = (site) => document.querySelector(`[data-try="offset"][data-site="${CSS.escape(site)}"]`);
  const slider = (site) => document.querySelector(`[data-slide="${CSS.escape(site)}"]`);
  const by = { ArrowUp: 1, ArrowRight: 1, ArrowDown: -1, ArrowLeft: -1, PageUp: 10, PageDown: -10 };

  // Whole steps added to what is typed; decimals only, as people write them.
  function step(site, count) {
    const input = field(site), now = Number(input.value.trim().replace("\u2212", "-").replace(",", "."));
    if (!input.dataset.step || !Number.isFinite(now)) return;
    typed(input, now + count * Number(input.dataset.step));
  }
  function typed(input, value) {
    input.value = String(Number(value.toPrecision(12)));
    input.dispatchEvent(new Event("input", { bubbles: true }));
  }

  document.getElementById("tries").addEventListener("keydown", (event) => {
    const input = event.target.closest("[data-step]");
    if (!input || !by[event.key] || ["ArrowLeft", "ArrowRight"].includes(event.key)) return; // these move in the text
    event.preventDefault();
    step(input.dataset.site, by[event.key]);
  });
  document.getElementById("tries").addEventListener("input", (event) => {
    const moved = event.target;
    if (moved.dataset.slide) typed(field(moved.dataset.slide), Number(moved.value));
    else if (moved.dataset.step && slider(moved.dataset.site)) slider(moved.dataset.site).value = moved.value;
  });
  // The way back to the plan sets the fields by itself.
  page.addEventListener("redrawn", () => {
    for (const one of document.querySelectorAll("[data-slide]")) if (document.activeElement !== one) one.value = field(one.dataset.slide).value;
  });

  page.addEventListener("marked", ({ detail: { site, mark, says } }) => {
    const input = field(site.id);
    if (!input) return;
    mark.dataset.mark = site.id;
    mark.setAttribute("aria-label", `${says}. Enter: its offset in the panel`);
    if (input.dataset.step) {
      const ends = slider(site.id);
      for (const [name, value] of [["role", "slider"], ["aria-valuenow", site.offset_us], ["aria-valuemin", ends.min], ["aria-valuemax", ends.max], ["aria-valuetext", `${site.offset_us} µs`]]) mark.setAttribute(name, value);
    }
    mark.addEventListener("keydown", (event) => {
      if (event.key === "Enter") open(event);
      if (!by[event.key]) return;
      event.preventDefault();
      event.stopPropagation(); // the map would move
      step(site.id, by[event.key]);
    });
    mark.addEventListener("click", (event) => {
      if (!page.clickTaken(L.latLng(site.lat, site.lon))) { open(event); return; } // the ruler took it
      event.stopPropagation();
    });
    function open(event) {
      event.preventDefault();
      event.stopPropagation();
      page.showPanel("offsets");
      input.focus();
      input.select();
    }
  });
})();
