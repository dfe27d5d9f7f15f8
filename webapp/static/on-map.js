// What lies over the overlap map besides its layers: scale bar, and the tools of every live map (map-tools.js).
"use strict";
(() => {
  const page = document.getElementById("map-page");
  if (!page || !page.leaflet) return;
  const map = page.leaflet, byId = (id) => document.getElementById(id);
  mapOnPaper(map);
  addEventListener("beforeprint", () => { byId("legend-fold").open = true; });
  page.addEventListener("redrawn", scaleOver(map, byId("scale-bar"), page.dataset.scale));
  page.clickTaken = toolsOver(map, page.querySelector(".map-tools"), { sites: () => page.shownSites || [], found: (where) => page.clickAt(where) });
})();
