// A service found by typing: words of its name, a country, the guard interval in us. Without this the field is a plain one.
"use strict";
for (const input of document.querySelectorAll("input[data-find]")) {
  input.removeAttribute("list"); // the browser's own list knows ids alone
  const list = Object.assign(document.createElement("ul"), { id: `${input.id}-found`, className: "found", hidden: true });
  list.setAttribute("role", "listbox");
  list.setAttribute("aria-label", "Services found");
  const told = Object.assign(document.createElement("span"), { className: "unseen" });
  told.setAttribute("role", "status");
  input.after(list, told);
  for (const [name, value] of [["role", "combobox"], ["aria-autocomplete", "list"], ["aria-expanded", "false"], ["aria-controls", list.id]]) input.setAttribute(name, value);
  let at = -1, waiting = 0, asked = 0;
  const close = () => { list.hidden = true; at = -1; input.setAttribute("aria-expanded", "false"); input.removeAttribute("aria-activedescendant"); };
  const take = (row) => { input.value = row.dataset.id; close(); input.dispatchEvent(new Event("change", { bubbles: true })); };
  const mark = (to) => {
    const rows = list.querySelectorAll("[role=option]");
    if (!rows.length) return;
    at = (to + rows.length) % rows.length;
    rows.forEach((row, n) => row.setAttribute("aria-selected", String(n === at)));
    rows[at].scrollIntoView({ block: "nearest" });
    input.setAttribute("aria-activedescendant", rows[at].id);
  };
  const show = (services) => {
    list.replaceChildren(...services.map((one, n) => {
      const row = Object.assign(document.createElement("li"), { id: `${list.id}-${n}` });
      row.setAttribute("role", "option");
      row.dataset.id = one.id;
      const usual = one.usual_in.length ? `usual in ${one.usual_in.join(", ")}` : "";
      row.append(Object.assign(document.createElement("b"), { textContent: one.name }), Object.assign(document.createElement("small"), { textContent: [one.says, usual].filter(Boolean).join("; ") }));
      row.addEventListener("pointerdown", (event) => { event.preventDefault(); take(row); });
      return row;
    }));
    told.textContent = services.length ? `${services.length} services found` : "no service found by these words";
    if (!services.length) list.append(Object.assign(document.createElement("li"), { className: "quiet", textContent: "None has all of these words: try fewer, as in dvb-t2 224" }));
    list.hidden = false;
    at = -1;
    input.setAttribute("aria-expanded", "true");
  };
  const find = async (text) => {
    const mine = ++asked;
    const answer = await fetch(`${input.dataset.find}?q=${encodeURIComponent(text)}`, { headers: { Accept: "application/json" } });
    if (answer.ok && mine === asked && document.activeElement === input) show((await answer.json()).services);
  };
  input.addEventListener("input", () => { clearTimeout(waiting); waiting = setTimeout(find, 150, input.value); });
  input.addEventListener("keydown", (event) => {
    if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      event.preventDefault();
      if (list.hidden) find(input.value); else mark(event.key === "ArrowDown" ? at + 1 : Math.max(at, 0) - 1);
    } else if (event.key === "Enter" && !list.hidden) {
      const rows = list.querySelectorAll("[role=option]");
      if (rows.length) { event.preventDefault(); take(rows[Math.max(at, 0)]); }
    } else if (event.key === "Escape") close();
  });
  input.addEventListener("focus", () => input.select()); // what is typed takes the place of the last choice
  input.addEventListener("blur", close);
}
