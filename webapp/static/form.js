// Helps with long forms; everything works without it.
"use strict";

for (const form of document.querySelectorAll("form.document-form")) {
  let unsaved = form.dataset.unsaved === "yes";
  form.addEventListener("input", () => { unsaved = true; });
  form.addEventListener("submit", () => { unsaved = false; });
  window.addEventListener("beforeunload", (event) => { if (unsaved) event.preventDefault(); });
}

// Fields that the chosen kind of stage does not take are hidden while they are empty.
for (const stage of document.querySelectorAll(".stage-form")) {
  const kind = stage.querySelector("select[name$='-kind']");
  const show = () => {
    for (const field of stage.querySelectorAll("[data-only-for]")) {
      const input = field.querySelector("input");
      field.hidden = !field.dataset.onlyFor.split("|").includes(kind.value) && input.value === "" && !input.matches("[aria-invalid]");
    }
  };
  if (kind) { kind.addEventListener("change", show); show(); }
}

// A problem in a closed part opens it.
const opened = () => {
  const target = location.hash && document.getElementById(location.hash.slice(1));
  for (let part = target && target.closest("details"); part; part = part.parentElement.closest("details")) part.open = true;
  if (target) target.focus();
};
window.addEventListener("hashchange", opened);
for (const wrong of document.querySelectorAll("[aria-invalid]")) {
  for (let part = wrong.closest("details"); part; part = part.parentElement.closest("details")) part.open = true;
}
