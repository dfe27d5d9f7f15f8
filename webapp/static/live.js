// Looks the change up again every ten seconds and exchanges its table; forms with what is typed in them stay until the
// step whose turn it is changes.
"use strict";

const EVERY_MS = 10000;
const look = async () => {
  try {
    const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
    if (!answer.ok || answer.redirected) throw new Error(String(answer.status));
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const fresh = page.querySelector("[data-live]"), here = document.querySelector("[data-live]");
    const site = (where) => (where.querySelector("input[name=site]") || {}).value;
    const typing = document.activeElement && document.activeElement.closest("form");
    if (!fresh || (site(page) !== site(document) && !typing)) location.reload();
    else { here.replaceWith(fresh); document.documentElement.dataset.asOf = Date.now(); }
  } catch {
    document.querySelector("[data-live]").classList.add("not-now");
  }
};
setInterval(look, EVERY_MS);
