// A stage is moved in its chain by dragging, beside the buttons that do the same. The choices change places; nothing else.
"use strict";
for (const list of document.querySelectorAll("ol.steps[id$='-stages']")) {
  const rows = () => [...list.querySelectorAll("[data-step]")];
  let from = null;
  for (const row of rows()) {
    const grip = Object.assign(document.createElement("span"), { className: "grip", draggable: true, textContent: "⠿", title: "drag to move this stage" });
    grip.setAttribute("aria-hidden", "true");
    row.prepend(grip);
    grip.addEventListener("dragstart", (event) => { from = row; event.dataTransfer.effectAllowed = "move"; event.dataTransfer.setDragImage(row, 8, 8); });
    row.addEventListener("dragover", (event) => { if (from) { event.preventDefault(); row.classList.add("target"); } });
    row.addEventListener("dragleave", () => row.classList.remove("target"));
    row.addEventListener("drop", (event) => {
      event.preventDefault();
      row.classList.remove("target");
      const every = rows(), to = every.indexOf(row), was = every.indexOf(from);
      const inputs = every.map((one) => one.querySelector("select, input")), values = inputs.map((one) => one.value);
      values.splice(to, 0, values.splice(was, 1)[0]);
      inputs.forEach((one, n) => { one.value = values[n]; });
      from = null;
      inputs[to].dispatchEvent(new Event("input", { bubbles: true }));
      const say = list.querySelector(".moved") || list.appendChild(Object.assign(document.createElement("li"), { className: "moved quiet" }));
      say.textContent = "Moved, not saved yet: the drawing follows when the page is sent.";
    });
    grip.addEventListener("dragend", () => { from = null; });
  }
}
