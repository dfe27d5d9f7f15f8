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

// "needed" stands only beside what is empty.
for (const mark of document.querySelectorAll("label .needed")) {
  const field = document.getElementById(mark.closest("label").htmlFor);
  if (field) for (const kind of ["input", "change"]) field.addEventListener(kind, () => { mark.hidden = field.value !== ""; });
}

// What a device counts in is put into its fields without leaving the place on the page.
for (const button of document.querySelectorAll(".starts button")) {
  button.addEventListener("click", (event) => {
    event.preventDefault();
    for (const [key, value] of [["unit", button.dataset.unit], ["step", button.dataset.step], ["least", "0"], ["sign", "later"]]) {
      const field = document.querySelector(`[name="${button.dataset.place}-${key}"]`);
      if (field) { field.value = value; field.dispatchEvent(new Event("input", { bubbles: true })); }
    }
    const next = document.querySelector(`[name="${button.dataset.place}-greatest"]`);
    if (next) next.focus();
  });
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
