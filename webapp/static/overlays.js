// Lines and places over the overlap map (map-over.js draws them), in its address; and roads beside the clicked place.
"use strict";
(() => {
  const page = document.getElementById("map-page");
  if (!page || !page.leaflet) return;
  const map = page.leaflet, byId = (id) => document.getElementById(id);
  overlaysOver(map, byId("own-overlays"), { credits: byId("overlay-credits"), says: byId("overlay-says"), asked: page.asked.get("overlays"), changed: () => { page.keepAddress(); page.dispatchEvent(new Event("overlaid")); } })
    .then((unusual) => { page.overlaysAsked = unusual; page.keepAddress(); page.dispatchEvent(new Event("overlaid")); });

  // Roads beside the clicked place, whatever is switched on.
  const here = byId("roads-here");
  let clicks = 0;
  if (here) page.addEventListener("pinned", async ({ detail: at }) => {
    const mine = ++clicks, query = page.tries();
    query.append("lat", at.lat.toFixed(7));
    query.append("lon", L.Util.wrapNum(at.lng, [-180, 180], true).toFixed(7));
    here.replaceChildren(); // what stands there is another place's
    const answer = await fetch(`${here.dataset.near}?${query}`).catch(() => null);
    if (mine !== clicks || !answer?.ok) return;
    here.innerHTML = await answer.text(); // a template of ours, escaped there
    page.keepAddress(); // its form comes back to this window
  });
})();
