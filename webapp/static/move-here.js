// A site tried at the clicked place: written into its fields under Levers, where it can be changed and taken back.
"use strict";
(() => {
  const part = document.getElementById("point-part");
  if (!part) return;
  part.addEventListener("click", (event) => {
    const button = event.target.closest("[data-move-to]");
    if (!button) return;
    const site = CSS.escape(document.getElementById("move-site").value);
    const field = (name) => document.querySelector(`[data-try="${name}"][data-site="${site}"]`);
    field("position").value = button.dataset.moveTo;
    field("ground-height").value = ""; // the terrain's there, never that of another place
    for (let fold = field("position").closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
    field("position").dispatchEvent(new Event("input", { bubbles: true }));
  });
})();
