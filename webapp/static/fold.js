// On a telephone, parts of a page that can wait are folded: what is to be done stands within a few screens.
// A heading with data-fold takes all up to the next heading of its rank with it; any other element folds alone, under
// the words of its data-fold; of a table with data-fold-after only the rows behind so many. What warns, lacks something, or has something wrong in it, stays open.
// What is filled in inside a fold stands in its heading (data-fold-says="no": its words have it). Without this script nothing is folded.
"use strict";
// On paper stands what it is, and as of when: the browser's own head of a page may be switched off.
(() => {
  const line = Object.assign(document.createElement("p"), { className: "on-paper-only quiet" });
  addEventListener("beforeprint", () => {
    const asOf = Number(document.documentElement.dataset.asOf) || performance.timeOrigin;
    line.textContent = `${document.title} · ${new Date(asOf).toISOString().slice(0, 16).replace("T", " ")} UTC`;
    (document.querySelector("main") || document.body).prepend(line);
  });
  addEventListener("afterprint", () => line.remove());
})();
(() => {
  if (!matchMedia("(max-width: 40rem)").matches) return;
  const heading = /^H[1-6]$/, stays = '.problems li, .notice, .left-out, .on-top, .still-needed, [aria-invalid="true"], .field-problem';
  // What is needed inside a part of its own that is not begun is not needed yet.
  const lacks = (one) => [...one.querySelectorAll(".needed")].some((mark) => !mark.closest("details.inner:not([open])"));
  // The first values of a fold's fields, and how many more there are.
  const filled = (part) => [...part.querySelectorAll(".field")].filter((one) => !one.hidden).flatMap((one) => {
    const input = one.querySelector('input:not([type="hidden"]), select, textarea'), label = one.querySelector("label");
    if (!input || !label || ["file", "button", "range"].includes(input.type)) return [];
    const name = [...label.childNodes].filter((node) => node.nodeType === Node.TEXT_NODE).map((node) => node.data).join("").trim();
    if (["checkbox", "radio"].includes(input.type)) return input.checked ? [name] : [];
    const said = input.tagName === "SELECT" ? input.selectedIndex > 0 && input.selectedOptions[0].text : input.value.trim(), unit = one.querySelector(".unit");
    return said ? [`${name} ${said}${unit ? ` ${unit.textContent}` : ""}`] : [];
  });
  function says(part, line) {
    const all = filled(part), shown = all.slice(0, 3);
    line.textContent = part.open || !all.length ? "" : ` ${shown.join(", ")}${all.length > shown.length ? ` and ${all.length - shown.length} more` : ""}`;
  }
  for (const marked of document.querySelectorAll("[data-fold]")) {
    const part = document.createElement("details"), summary = document.createElement("summary"), taken = [];
    part.className = "fold";
    if (heading.test(marked.tagName)) {
      for (let next = marked.nextElementSibling; next && !(heading.test(next.tagName) && next.tagName <= marked.tagName) && !("foldEnd" in next.dataset); next = next.nextElementSibling) taken.push(next);
      marked.before(part);
      summary.append(marked);
    } else {
      marked.before(part);
      summary.textContent = marked.dataset.fold;
      taken.push(marked);
    }
    part.append(summary, ...taken);
    part.open = taken.some((one) => one.matches(stays) || one.querySelector(stays) || lacks(one));
    if (marked.dataset.foldSays === "no") continue;
    const line = Object.assign(document.createElement("span"), { className: "quiet" });
    summary.append(line);
    part.addEventListener("toggle", () => says(part, line));
    says(part, line);
  }
  for (const long of document.querySelectorAll("table[data-fold-after]")) {
    const body = long.tBodies[0], rows = [...body.rows].slice(Number(long.dataset.foldAfter));
    if (!rows.length) continue;
    const part = document.createElement("details"), summary = document.createElement("summary"), rest = long.cloneNode(false);
    part.className = "fold";
    summary.textContent = `${rows.length} more${rows.length > 1 && long.dataset.foldWhat ? ` ${long.dataset.foldWhat}` : ""}`;
    rest.append(long.tHead.cloneNode(true), body.cloneNode(false));
    rest.tBodies[0].append(...rows);
    rest.removeAttribute("id");
    part.append(summary, rest);
    part.open = rows.some((row) => row.querySelector("b.assumed"));
    long.after(part);
  }
  for (const part of document.querySelectorAll("details.inner[open]")) part.open = Boolean(part.querySelector(stays));
  addEventListener("beforeprint", () => { for (const part of document.querySelectorAll("details.fold")) part.open = true; });
})();
{
  // A link to something folded opens it, on any screen; on paper warnings stand unfolded.
  const reveal = () => {
    const named = location.hash.length > 1 && document.getElementById(decodeURIComponent(location.hash.slice(1)));
    if (!named) return;
    for (let at = named; at; at = at.parentElement) if (at.tagName === "DETAILS") at.open = true;
    for (const inside of named.querySelectorAll("details.warnings")) inside.open = true;
    named.scrollIntoView();
  };
  reveal();
  addEventListener("hashchange", reveal);
  addEventListener("beforeprint", () => { for (const part of document.querySelectorAll("details.warnings")) part.open = true; });
}
