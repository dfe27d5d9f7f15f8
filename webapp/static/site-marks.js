// Sites on a map: their colour, a tick to the side of their offset, their name.
"use strict";
function siteMarks(map, sites) {
  for (const site of sites) {
    const tick = site.offset_us > 0 ? '<line x1="12" y1="12" x2="23" y2="12"/>' : site.offset_us < 0 ? '<line x1="1" y1="12" x2="12" y2="12"/>' : "";
    const html = `<svg width="24" height="24" class="site-mark${site.on_air ? "" : " off"}"><circle cx="12" cy="12" r="6" fill="${/^#[0-9a-f]{6}$/.test(site.colour) ? site.colour : "#fff"}"/>${tick}</svg>`;
    const label = Object.assign(document.createElement("span"), { textContent: site.name });
    L.marker([site.lat, site.lon], { keyboard: false, interactive: false, icon: L.divIcon({ className: "site-icon", html, iconSize: [24, 24], iconAnchor: [12, 12] }) })
      .bindTooltip(label, { permanent: sites.length <= 15, direction: "right", offset: [10, 0], className: "site-label" }).addTo(map);
  }
}
