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
    if (job.state !== "waiting" && job.state !== "running") { phase.textContent = `The search is ${job.state}.`; return; }
    await new Promise((go) => setTimeout(go, 500));
  }
})();
(() => {
  const hand = document.getElementById("by-hand");
  if (!hand) return;
  const inputs = [...hand.querySelectorAll("input.hand")];
  let turn = 0;
  const query = () => {
    const made = new URLSearchParams();
    for (const input of inputs) if (input.value !== input.defaultValue) made.append("offset", `${input.dataset.site}:${input.value}`);
    return made;
  };
  async function numbers() {
    const mine = ++turn;
    const answer = await fetch(`${hand.dataset.part}/numbers?${query()}`);
    if (answer.ok && mine === turn) document.getElementById("hand-numbers").innerHTML = await answer.text(); // a template of ours, escaped there
  }
  function curves(but) {
    for (const picture of hand.querySelectorAll(".hand-curve")) {
      if (picture.dataset.site === but) continue;
      const made = query(), input = document.getElementById(`hand-${picture.dataset.site}`);
      made.append("site", picture.dataset.site);
      if (input.dataset.best !== undefined) made.append("best", input.dataset.best);
      picture.src = `${hand.dataset.part}/curve.svg?${made}`;
    }
  }
  for (const input of inputs) {
    const say = () => { input.previousElementSibling.querySelector("output").textContent = `${Number(input.value) < 0 ? "−" : "+"}${Math.abs(Number(input.value)).toFixed(1)}`; };
    input.addEventListener("input", () => {
      if (input.value !== input.defaultValue) input.value = String(Math.round(Number(input.value)));
      say();
    });
    input.addEventListener("change", async () => { await numbers(); curves(input.dataset.site); });
  }
  numbers().then(() => curves(null));
})();
