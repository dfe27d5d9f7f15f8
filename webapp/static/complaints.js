// Complaints where they were heard, on the overlap map: what the list under the map says, at its place.
"use strict";
(() => {
  const page = document.getElementById("map-page");
  const list = document.getElementById("complaints");
  if (!page || !page.leaflet || !list) return;
  for (const item of list.querySelectorAll("[data-lat]")) {
    const html = '<svg width="22" height="22" class="complaint-mark"><path d="M11 2 L20 19 L2 19 Z"/><line x1="11" y1="8" x2="11" y2="13"/><circle cx="11" cy="16" r="1"/></svg>';
    const label = document.createElement("span");
    label.textContent = item.textContent.trim().replace(/\s+/g, " ");
    const icon = L.divIcon({ className: "site-icon", html, iconSize: [22, 22], iconAnchor: [11, 13] });
    const mark = L.marker([Number(item.dataset.lat), Number(item.dataset.lon)], { icon })
      .bindTooltip(label, { className: "site-label" })
      .on("click", () => { location.href = item.querySelector("a").href; })
      .addTo(page.leaflet);
    mark.getElement().setAttribute("aria-label", label.textContent);
  }
})();
