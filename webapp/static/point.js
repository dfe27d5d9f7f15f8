// Puts the direct simulation below the page's figures once the server has it.
"use strict";
(async () => {
  const box = document.getElementById("direct");
  if (!box) return;
  const answer = await fetch(box.dataset.address);
  if (answer.ok) box.innerHTML = await answer.text(); // a template of ours, escaped there
  else box.firstElementChild.textContent = "No direct simulation here.";
})();
