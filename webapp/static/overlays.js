// Lines and places over the overlap map (map-over.js draws them), in its address; and roads beside the clicked place.
"use strict";
(() => {
  const page = document.getElementById("map-page");
  if (!page || !page.leaflet) return;
  const map = page.leaflet, byId = (id) => document.getElementById(id);
  // On a telephone whose data lie over the map stands beneath it: over it, it would cover sites.
  const credits = byId("overlay-credits"), stage = document.querySelector(".map-stage");
  if (matchMedia("(max-width: 40rem)").matches) stage.after(credits);
  let tall = stage.clientHeight;
  const fitted = () => {
    if (stage.clientHeight !== tall) map.invalidateSize({ animate: false });
    tall = stage.clientHeight;
  };
  overlaysOver(map, byId("own-overlays"), { credits, says: byId("overlay-says"), asked: page.asked.get("overlays"), changed: () => { fitted(); page.keepAddress(); page.dispatchEvent(new Event("overlaid")); } })
    .then((unusual) => { if (credits.textContent) fitted(); page.overlaysAsked = unusual; page.keepAddress(); page.dispatchEvent(new Event("overlaid")); });

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
