// A site placed by a click or a drag on its small map, and its typed position shown there at once: the page is asked what
// it would show, and its map, heights and doubts are put in. Nothing is worked out here.
"use strict";
for (const form of document.querySelectorAll("form.document-form")) {
  const here = form.querySelector("#stands-here");
  if (!here) continue;
  const fields = ["-position-text", "-position-crs", "-ground_m"];
  const field = (ending) => form.querySelector(`[name$="${ending}"]`);
  let asked = 0, proposed = "";
  const ask = async (what) => {
    const mine = ++asked, sent = new FormData(form), ground = field("-ground_m");
    const before = new Map(fields.map((ending) => [ending, field(ending)?.value]));
    sent.set("do", what);
    if (ground && proposed && ground.value === proposed) sent.set(ground.name, ""); // the terrain's own proposal follows
    const answer = await fetch(form.getAttribute("action"), { method: "POST", body: sent, headers: { "X-Part": "yes" } });
    if (!answer.ok || mine !== asked) return;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const found = page.querySelector("#stands-here");
    if (!found) return;
    here.replaceChildren(...found.childNodes);
    if (typeof overDrawings === "function") overDrawings();
    for (const ending of fields) {
      const mineField = field(ending), theirs = page.querySelector(`[name$="${ending}"]`);
      // what was typed while the answer was on its way stays
      if (!mineField || !theirs || !theirs.value || mineField.value !== before.get(ending)) continue;
      if (ending === "-ground_m" && mineField.value !== theirs.value) proposed = theirs.value;
      mineField.value = theirs.value;
      mineField.dispatchEvent(new Event("input", { bubbles: true }));
    }
    const told = page.querySelector("#ground-there"), old = form.querySelector("#ground-there");
    if (told && old) old.replaceWith(told); else if (told) here.after(told); else if (old) old.remove();
    draw();
  };
  const share = (svg, event) => {
    const box = svg.getBoundingClientRect();
    return [(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height].map((part) => Math.min(Math.max(part, 0), 1).toFixed(4));
  };
  const draw = () => {
    const svg = here.querySelector("svg.position-map");
    if (!svg) return;
    svg.classList.add("clickable");
    svg.addEventListener("pointerdown", (event) => { event.preventDefault(); svg.setPointerCapture(event.pointerId); });
    svg.addEventListener("pointermove", (event) => {
      const ring = svg.querySelector(".here"), view = svg.viewBox.baseVal;
      if (!event.buttons || !ring) return;
      const [right, down] = share(svg, event), circle = ring.querySelector("circle");
      ring.setAttribute("transform", `translate(${right * view.width - circle.cx.baseVal.value} ${down * view.height - circle.cy.baseVal.value})`);
    });
    svg.addEventListener("pointerup", (event) => ask(`put ${share(svg, event).join(" ")}`));
  };
  here.addEventListener("click", (event) => {
    const button = event.target.closest('button[value^="look"]');
    if (!button) return;
    event.preventDefault();
    ask(button.value);
  });
  for (const ending of ["-position-text", "-position-crs", "-position-easting_m", "-position-northing_m"]) {
    const typed = field(ending);
    if (typed) typed.addEventListener("change", () => ask("look"));
  }
  draw();
}
