// Puts the direct simulation below the page's figures once the server has it; asked for with the form's token.
"use strict";
(() => {
  const box = document.getElementById("direct"), form = box && box.querySelector("form");
  if (!form) return;
  async function ask() {
    form.querySelector("button").hidden = true;
    form.querySelector("span").textContent = "The direct simulation of all signals follows…";
    const answer = await fetch(form.action, { method: "POST", body: new URLSearchParams(new FormData(form)) });
    if (answer.ok) box.innerHTML = await answer.text(); // a template of ours, escaped there
    else form.querySelector("span").textContent = "No direct simulation here.";
  }
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    ask();
  });
  if (box.dataset.byItself) ask();
})();
