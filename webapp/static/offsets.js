// The search's progress, and numbers and curves that follow the sliders; everything is computed on the server.
"use strict";
(async () => {
  const box = document.getElementById("search-box");
  if (!box) return;
  const bar = document.getElementById("search-progress"), phase = document.getElementById("search-phase");
  for (;;) {
    const answer = await fetch(box.dataset.job, { headers: { Accept: "application/json" } });
    if (!answer.ok) return;
    const job = await answer.json();
    if (job.total) { bar.max = job.total; bar.value = job.done; }
    phase.textContent = job.phase;
    if (job.state === "finished") { location.replace(job.result_url); return; }
    if (job.state !== "waiting" && job.state !== "running") {
      if (box.querySelector("form")) location.reload(); // why it ended stands in the page
      return;
    }
    await new Promise((go) => setTimeout(go, 500));
  }
})();
(() => {
  const hand = document.getElementById("by-hand"), page = document.getElementById("offsets-map-page");
  if (!hand || !page) return;
  const part = page.dataset.part, byId = (id) => document.getElementById(id);
  const inputs = [...hand.querySelectorAll("input.hand")];
  const saved = (input) => Number(input.dataset.saved);
  const last = new Map(inputs.map((input) => [input.dataset.site, Number(input.value)]));
  // What the sliders try, as an address has it.
  const query = () => {
    const made = new URLSearchParams();
    for (const input of inputs) if (Number(input.value) !== saved(input)) made.append("offset", `${input.dataset.site}:${input.value}`);
    return made;
  };
  page.triedQuery = query; // for offsets-map.js
  const say = (input) => {
    const us = Number(input.value);
    hand.querySelector(`output[for="${input.id}"]`).textContent = `${us < 0 ? "−" : us > 0 ? "+" : ""}${Math.abs(us).toFixed(1)}`;
    last.set(input.dataset.site, us);
  };
  // Whole microseconds, but for the offsets that are saved and found.
  function snap(input) {
    const us = Number(input.value), reach = (input.max - input.min) / 150;
    const kept = [saved(input), Number(input.dataset.best ?? NaN)].find((at) => Math.abs(at - us) <= Math.min(reach, 1));
    input.value = kept ?? Math.round(us);
  }
  // Sites that are fed off air from a site move along with it.
  function moved(input) {
    const by = Number(input.value) - last.get(input.dataset.site);
    say(input);
    for (const child of inputs) {
      if (child.dataset.parent !== input.dataset.site || child.disabled || !by) continue;
      child.value = Number(child.value) + by;
      moved(child);
    }
  }

  // One request for numbers at a time, and always one for where the sliders end.
  let busy = false, again = false;
  async function numbers() {
    if (busy) { again = true; return; }
    busy = true;
    do {
      again = false;
      const answer = await fetch(`${part}/numbers?${query()}`);
      if (answer.ok) byId("hand-numbers").innerHTML = await answer.text(); // a template of ours, escaped there
    } while (again);
    busy = false;
  }
  // Curves one after the other, those on screen first, and none for a place that the sliders have left.
  let turn = 0;
  async function curves(but) {
    const mine = ++turn, seen = (picture) => { const box = picture.getBoundingClientRect(); return box.bottom > 0 && box.top < innerHeight; };
    const pictures = [...hand.querySelectorAll(".hand-curve")].filter((one) => one.dataset.site !== but);
    for (const picture of pictures.sort((a, b) => seen(b) - seen(a))) {
      if (mine !== turn) return;
      const made = query(), input = byId(`hand-${picture.dataset.site}`);
      made.append("site", picture.dataset.site);
      made.append("low", input.min);
      made.append("high", input.max);
      if (input.dataset.best !== undefined) made.append("best", input.dataset.best);
      picture.src = `${part}/curve.svg?${made}`;
      await picture.decode().catch(() => null);
    }
  }
  async function released(but) {
    await numbers();
    page.dispatchEvent(new Event("tried"));
    await curves(but);
  }
  for (const input of inputs) {
    input.addEventListener("input", () => { snap(input); moved(input); numbers(); });
    input.addEventListener("change", () => released(input.dataset.site));
  }
  const all = (where) => {
    for (const input of inputs) { input.value = where(input); say(input); }
    released(null);
  };
  byId("hand-saved").addEventListener("click", () => all(saved));
  byId("hand-found")?.addEventListener("click", () => all((input) => input.dataset.best ?? saved(input)));

  // The map over two offsets, when asked for: it takes a moment.
  byId("pair-draw")?.addEventListener("click", async () => {
    const made = query(), picture = byId("pair-picture"), says = byId("pair-says");
    if (byId("pair-a").value === byId("pair-b").value) { says.textContent = "Choose two different sites."; return; }
    for (const one of ["a", "b"]) {
      const input = byId(`hand-${byId(`pair-${one}`).value}`);
      made.append(one, input.dataset.site);
      made.append(`${one}_low`, input.min);
      made.append(`${one}_high`, input.max);
      if (input.dataset.best !== undefined) made.append(`${one}_best`, input.dataset.best);
    }
    says.textContent = "Working it out …";
    picture.src = `${part}/plane.svg?${made}`;
    await picture.decode().then(() => { picture.hidden = false; says.textContent = ""; }, () => { says.textContent = "It could not be worked out; search or compute the map again."; });
  });
  released(null);
})();
