// A road on a map: pieces of one class each, and the number of each stretch without service at its worst place.
"use strict";
const roadLine = async (map, address) => {
  const dashes = { 2: "4 3", 5: "2 5", 3: "10 7" };  // upset, another station, too weak
  const made = L.layerGroup().addTo(map), answer = await fetch(address, { headers: { Accept: "application/json" } }).catch(() => null);
  if (!answer || !answer.ok) return made;
  let number = 0;
  for (const { geometry, properties } of (await answer.json()).features) {
    const where = geometry.coordinates;
    if (geometry.type === "LineString") {
      const line = where.map(([lon, lat]) => [lat, lon]);
      const colour = /^#[0-9a-f]{6}$/.test(properties.colour) ? properties.colour : "#8a857a";
      L.polyline(line, { color: "#fdfbf5", weight: 8, interactive: false }).addTo(made);
      L.polyline(line, { color: colour, weight: 5, lineCap: "butt", dashArray: dashes[properties.code] || null, interactive: false }).addTo(made);
    } else {
      const label = Object.assign(document.createElement("span"), { textContent: String(++number) });
      L.circleMarker([where[1], where[0]], { radius: 4, color: "#a3430f", weight: 2, fillOpacity: 0.9, fillColor: "#fdfbf5", interactive: false })
        .bindTooltip(label, { permanent: number <= 12, direction: "top", className: "site-label" }).addTo(made);
    }
  }
  return made;
};
