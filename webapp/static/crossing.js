// Two signals made to meet at the clicked place: asked for when its fold is opened, worked out on the server.
"use strict";
(() => {
  const page = document.getElementById("map-page"), part = document.getElementById("point-part");
  if (!page || !page.leaflet || !part) return;
  const byId = (id) => document.getElementById(id);
  let turn = 0, open = false, pair = null;

  async function ask() {
    const mine = ++turn, fold = byId("meet"), says = byId("meet-says");
    if (!fold || !fold.open) return;
    pair = [byId("meet-fill").value, byId("meet-against").value];
    const answer = await fetch(`${fold.dataset.meet}&${new URLSearchParams({ fill_in: pair[0], against: pair[1] })}`, { headers: { Accept: "text/html, application/json" } });
    const text = await answer.text();
    if (mine !== turn || !says.isConnected) return;
    if (answer.ok) {
      says.innerHTML = text; // a template of ours, escaped there
      page.keepAddress(); // how the window stands goes into its form
      return;
    }
    const told = await fetch(answer.url, { headers: { Accept: "application/json" } }).then((one) => one.json()).catch(() => ({}));
    const line = (said) => Object.assign(document.createElement("p"), { className: "assumed", textContent: said });
    says.replaceChildren(...(told.problems || [{ what: "It could not be worked out", expected: "open the page again" }]).map((p) => line(`${p.what}; ${p.expected}.`)));
  }
  part.addEventListener("toggle", (event) => {
    if (event.target.id !== "meet") return;
    open = event.target.open;
    ask();
  }, true);
  part.addEventListener("change", (event) => { if (event.target.matches("#meet-fill, #meet-against")) ask(); });
  // Signals drawn anew, after a click or a try: the fold stays open, and at the same place the same pair.
  new MutationObserver(() => {
    const fold = byId("meet");
    if (!fold || fold.dataset.seen) return;
    fold.dataset.seen = "yes";
    const offered = [...byId("meet-fill").options].map((one) => one.value);
    if (pair && page.keepPair && pair.every((one) => offered.includes(one))) [byId("meet-fill").value, byId("meet-against").value] = pair;
    page.keepPair = false;
    if (open) { fold.open = true; ask(); }
  }).observe(part, { childList: true });
  part.addEventListener("click", (event) => {
    const button = event.target.closest("[data-try-offset]");
    if (!button) return;
    page.keepPair = true;
    const field = document.querySelector(`[data-try="offset"][data-site="${CSS.escape(button.dataset.trySite)}"]`);
    field.value = button.dataset.tryOffset;
    const select = byId("pair"), both = [button.dataset.trySite, button.dataset.tryAgainst];
    const drawn = [...select.options].find((one) => one.value && both.every((site) => JSON.parse(one.value).includes(site)));
    if (drawn) select.value = drawn.value; // the whole zone by its family of lines
    field.dispatchEvent(new Event("input", { bubbles: true }));
  });
})();
