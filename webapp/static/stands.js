// Sites of a network by state, and relays with the site they receive. Marks are those of the table.
"use strict";
(() => {
  const box = document.getElementById("stands-map");
  if (!box) return;
  const { sites, feeds, ground } = JSON.parse(box.dataset.drawn);
  const map = L.map(box, { attributionControl: false, zoomSnap: 0.5, scrollWheelZoom: false });
  const bounds = L.latLngBounds(sites.map((site) => [site.lat, site.lon]));
  map.fitBounds(bounds.pad(sites.length > 1 ? 0.25 : 0), { maxZoom: 11, padding: [24, 24] });
  map.createPane("ground").style.zIndex = 210;
  if (ground) L.imageOverlay(ground.picture, ground.bounds, { pane: "ground", interactive: false }).addTo(map);
  smallMapOver(map, sites);
  const at = new Map(sites.map((site) => [site.id, [site.lat, site.lon]]));
  for (const [parent, child] of feeds) {
    if (at.has(parent) && at.has(child)) L.polyline([at.get(parent), at.get(child)], { color: "#55605f", weight: 2, dashArray: "6 5", interactive: false }).addTo(map);
  }
  for (const site of sites) {
    const mark = document.querySelector(`#stands-table [data-mark="${CSS.escape(site.state)}"]`);
    const html = mark ? mark.outerHTML : "";
    const label = Object.assign(document.createElement("span"), { textContent: site.on_air ? site.name : `${site.name} (not transmitting)` });
    L.marker([site.lat, site.lon], { keyboard: false, interactive: false, icon: L.divIcon({ className: "site-icon", html, iconSize: [18, 18], iconAnchor: [9, 9] }) })
      .bindTooltip(label, { permanent: sites.length <= 25, direction: "right", offset: [9, 0], className: "site-label" }).addTo(map);
  }
})();
