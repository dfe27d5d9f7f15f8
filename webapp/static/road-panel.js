// A road beside the overlap map: its profile in the panel, its line on the map, each showing the place of the other.
// The profile follows what is tried; what is drawn and said comes from the server.
"use strict";
(() => {
  const page = document.getElementById("map-page"), box = document.getElementById("road-part");
  if (!page || !page.leaflet || !box || !page.asked.get("road")) return;
  const job = page.asked.get("road"), part = box.dataset.part.replace("ROAD", encodeURIComponent(job));
  let line = null, unlinked = null, turn = 0, shown = "";

  function cleared() {
    if (unlinked) unlinked();
    if (line) line.remove();
    unlinked = line = null;
  }
  async function drawn() {
    const query = page.tries().toString(), wanted = `${part}${query ? `?${query}` : ""}`, mine = ++turn;
    if (wanted === shown) return;
    const answer = await fetch(wanted).catch(() => null);
    if (mine !== turn) return;
    if (!answer || !answer.ok) { box.innerHTML = '<p class="assumed">The road does not follow what is typed.</p>'; return; }
    const text = await answer.text();
    if (mine !== turn) return;
    shown = wanted;
    cleared();
    const stepping = document.activeElement && document.activeElement.id === "road-chart";
    box.innerHTML = text; // a template of ours, escaped there
    const chart = box.querySelector("#road-chart");
    if (!chart) { page.asked.delete("road"); page.keepAddress(); return; } // it is gone, and the page says so
    // Before anything is waited for: whoever presses a key as soon as the profile stands there is answered.
    unlinked = linkedRoad(page.leaflet, chart, box.querySelector("#road-says"), chart.dataset.samples);
    if (stepping) chart.focus();
    const made = await roadLine(page.leaflet, chart.dataset.road);
    if (mine !== turn) { made.remove(); return; }
    line = made;
  }
  box.addEventListener("click", (event) => {
    if (event.target.id !== "road-away") return;
    turn += 1;
    cleared();
    page.asked.delete("road");
    page.removeEventListener("redrawn", drawn);
    box.innerHTML = '<p class="quiet">Taken off the map. The Route page has it still.</p>';
    page.keepAddress();
  });
  page.addEventListener("redrawn", drawn);
})();
