// The room round the map: what stands in the panel beside it, and the panel folded away. Nothing is computed here.
"use strict";
(() => {
  const page = document.getElementById("map-page");
  if (!page || !page.leaflet) return;
  const byId = (id) => document.getElementById(id);
  const tabs = [...page.querySelectorAll('[role="tab"]')], name = (tab) => tab.id.replace("tab-", "");
  const fold = byId("panel-fold");
  const usual = page.asked.get("at") ? "here" : "figures";
  let shown = usual, folded = false;

  function draw() {
    for (const tab of tabs) {
      const chosen = name(tab) === shown;
      tab.setAttribute("aria-selected", String(chosen));
      tab.tabIndex = chosen ? 0 : -1;
      byId(`panel-${name(tab)}`).hidden = !chosen;
    }
    page.classList.toggle("folded", folded);
    fold.setAttribute("aria-expanded", String(!folded));
    fold.lastElementChild.textContent = folded ? "Open the panel" : "Fold the panel";
    page.dataset.panel = folded ? "folded" : shown;
    page.leaflet.invalidateSize({ pan: false });
  }
  function show(which, focus = false) {
    shown = which;
    folded = false;
    draw();
    byId("panel-body").scrollTop = 0;
    if (focus) byId(`tab-${which}`).focus();
  }
  page.showPanel = show;
  for (const tab of tabs) tab.addEventListener("click", () => { show(name(tab)); page.keepAddress(); });
  fold.addEventListener("click", () => { folded = !folded; draw(); page.keepAddress(); });
  page.querySelector('[role="tablist"]').addEventListener("keydown", (event) => {
    const by = { ArrowRight: 1, ArrowLeft: -1, Home: -tabs.length, End: tabs.length }[event.key];
    if (!by) return;
    event.preventDefault();
    const at = tabs.findIndex((tab) => name(tab) === shown);
    const next = Math.abs(by) === 1 ? (at + by + tabs.length) % tabs.length : by < 0 ? 0 : tabs.length - 1;
    show(name(tabs[next]), true);
    page.keepAddress();
  });
  const asked = page.asked.get("panel");
  if (asked === "folded") folded = true;
  else if (tabs.some((tab) => name(tab) === asked)) shown = asked;
  if (matchMedia("(max-width: 40rem)").matches) byId("legend-fold").open = false; // half of a telephone's map
  draw();
})();
