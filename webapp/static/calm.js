// Maps of whoever asked their machine for less motion: they jump where they would glide. Loaded after Leaflet, before any map.
"use strict";
if (matchMedia("(prefers-reduced-motion: reduce)").matches) {
  const glide = L.Map.prototype.panBy;
  L.Map.mergeOptions({ zoomAnimation: false, fadeAnimation: false, markerZoomAnimation: false, inertia: false });
  L.Map.include({ panBy(offset, options) { return glide.call(this, offset, { ...options, animate: false }); } });
}
