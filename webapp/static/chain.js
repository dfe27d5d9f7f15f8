// A stage is moved in its chain by dragging, beside the buttons that do the same. The choices change places, and the drawing
// beside them follows at once, by what this page knows of each stage; nothing is sent.
"use strict";
{
  // Every stage that is drawn somewhere on the page, by its name.
  const drawn = new Map();
  for (const one of document.querySelectorAll(".drawn li:not(.antenna)")) drawn.set(one.querySelector("b").textContent, one);
  const part = (tag, className, textContent) => Object.assign(document.createElement(tag), { className, textContent });

  // A stage of the list that no chain here passes: what its entry in the menu says, and no length.
  function unknown(name, said) {
    const line = part("li", "lacking", "");
    line.title = "Its length stands here once the page is sent";
    line.append(part("b", "", name), " ", part("span", "quiet", said.startsWith(name) ? said.slice(name.length).replace(/^ \(|\)$/g, "") : ""), " ", part("span", "length", "?"));
    return line;
  }
  function follow(list) {
    const drawing = list.closest("fieldset").querySelector(".drawn");
    if (!drawing) return;
    const steps = [...list.querySelectorAll("li select, li input")].filter((one) => one.value.trim());
    const lines = steps.map((step) => {
      const name = step.value.trim();
      return drawn.has(name) ? drawn.get(name).cloneNode(true) : unknown(name, step.selectedOptions?.[0]?.text || name);
    });
    drawing.replaceChildren(...lines, drawing.querySelector(".antenna"));
    const say = list.querySelector(".moved") || list.appendChild(part("li", "moved quiet", ""));
    say.setAttribute("role", "status");
    say.textContent = "Changed here and in the drawing, not saved yet.";
  }

  for (const list of document.querySelectorAll("ol.steps[id$='-stages']")) {
    const rows = () => [...list.querySelectorAll("[data-step]")];
    let from = null;
    list.addEventListener("change", () => follow(list));
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
        follow(list);
      });
      grip.addEventListener("dragend", () => { from = null; });
    }
  }

  // What is typed for a stage's length stands in the drawings, too.
  for (const form of document.querySelectorAll(".stage-form")) {
    const field = (ending) => form.querySelector(`input[name^="stages-"][name$="${ending}"]`);
    const name = field("-id")?.defaultValue;
    for (const [ending, unit] of [["-latency_us", "µs"], ["-release_delay_us", "µs"], ["-length_m", "m"]]) {
      field(ending)?.addEventListener("input", (event) => {
        const typed = event.target.value.trim();
        for (const line of [...document.querySelectorAll(".drawn li:not(.antenna)"), ...drawn.values()]) {
          if (line.querySelector("b").textContent !== name) continue;
          line.querySelector(".length").textContent = typed ? `${typed} ${unit}` : "?";
          line.classList.toggle("lacking", !typed);
        }
      });
    }
  }
}
