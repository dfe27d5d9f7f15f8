// Keeps what is typed at a site in this telephone until the office has answered; without it the form still posts.
"use strict";

const form = document.getElementById("reading-form");
const told = document.getElementById("connection");
const asked = document.getElementById("questions");
const key = `reading ${location.pathname} ${form.elements.route.value}`;
let waiting = false;  // a sending that no answer has come to yet
let sending = false;
let again = 0;

const tell = (sentence, state) => {
  told.textContent = sentence;
  told.dataset.state = state;
  told.hidden = false;
};

const typed = () => Object.fromEntries([...new FormData(form)].filter(([name]) => !name.startsWith("confirm-")));

const keep = () => {
  try {
    localStorage.setItem(key, JSON.stringify({ typed: typed(), waiting }));
    return true;
  } catch {
    tell("This browser keeps nothing: do not close the page before the office has answered.", "unkept");
    return false;
  }
};

const bringBack = () => {
  let held = null;
  try { held = JSON.parse(localStorage.getItem(key)); } catch { /* nothing to bring back */ }
  if (!held || !held.typed) return;
  for (const [name, value] of Object.entries(held.typed)) {
    if (form.elements[name]) form.elements[name].value = value;
  }
  waiting = Boolean(held.waiting);
  tell("Kept in this telephone, not yet sent to the office.", "kept");
};

const ask = (questions) => {
  asked.replaceChildren();
  if (!questions.length) return;
  const box = document.createElement("fieldset");
  box.className = "asked";
  const legend = document.createElement("legend");
  legend.textContent = "Is this meant?";
  box.append(legend);
  questions.forEach((question, n) => {
    const line = document.createElement("p"), label = document.createElement("label"), tick = document.createElement("input");
    tick.type = "checkbox";
    tick.name = `confirm-${n + 1}`;
    tick.value = `${question.field}: ${question.text}`;
    tick.checked = question.confirmed === true;
    label.append(tick, ` ${question.text} `);
    const help = document.createElement("span");
    help.className = "quiet";
    help.textContent = "Tick it if it is so; else correct it below.";
    label.append(help);
    line.append(label);
    box.append(line);
  });
  asked.append(box);
};

const mark = (problems) => {
  for (const input of form.querySelectorAll("[aria-invalid]")) input.removeAttribute("aria-invalid");
  for (const problem of problems) {
    const input = form.elements[problem.where];
    if (input && input.setAttribute) input.setAttribute("aria-invalid", "true");
  }
};

const post = async (more) => {
  const body = new URLSearchParams([...new FormData(form), ...more]);
  const stop = new AbortController(), late = setTimeout(() => stop.abort(), 30000);
  try {
    const answer = await fetch(form.action, { method: "POST", body, headers: { Accept: "application/json" }, signal: stop.signal });
    return { ok: answer.ok, status: answer.status, said: await answer.json() };
  } finally {
    clearTimeout(late);
  }
};

const send = async () => {
  if (sending) return;
  sending = true;
  clearTimeout(again);
  waiting = true;
  const isKept = keep();
  try {
    const { ok, status, said } = await post([]);
    waiting = false;
    if (ok && said.kept) {
      localStorage.removeItem(key);
      location.replace(`${location.pathname}${location.search}${location.search ? "&" : "?"}sent=${Date.now()}`);
      return;
    }
    keep();
    ask(said.questions || []);
    mark(said.problems || []);
    const words = (said.problems || []).map((p) => `${p.what}; ${p.expected}`).join(". ");
    tell(status === 422 ? words || "Not sent yet: something looks like a slip, see below." : `Kept here, but the office refused it: ${words}.`, "refused");
    (asked.firstChild || told).scrollIntoView({ block: "center" });
  } catch {
    if (isKept) tell("No connection. What you typed is kept in this telephone and is sent when the connection is back; keep this page open, or come back to it.", "waiting");
    again = setTimeout(send, 20000);
  } finally {
    sending = false;
  }
};

form.addEventListener("input", (event) => {
  if (event.target.type === "checkbox") return;
  waiting = false;
  clearTimeout(again);
  if (keep()) tell("Kept in this telephone, not yet sent to the office.", "kept");
});
// Questions at once, while the number is still on the instrument; silence when there is no connection.
form.addEventListener("change", async (event) => {
  if (!/^(set|reading)-/.test(event.target.name || "") || !event.target.value) return;
  const before = JSON.stringify(typed());
  try {
    const { said } = await post([["ask", "yes"], ["initials", form.elements.initials.value || "?"]]);
    if (before === JSON.stringify(typed()) && !sending && !(said.problems || []).length) ask(said.questions || []);
  } catch { /* asked when it is sent */ }
});
form.addEventListener("submit", (event) => { event.preventDefault(); send(); });
window.addEventListener("online", () => { if (waiting) send(); });
bringBack();
if (waiting) send();
