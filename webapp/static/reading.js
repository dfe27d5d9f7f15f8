// Keeps what is typed at a site in this telephone until the office has answered; without it the form still posts.
"use strict";

const form = document.getElementById("reading-form");
const told = document.getElementById("connection");
const asked = document.getElementById("questions");
// By site, not by link: a new link for the same site still finds what was typed under the old one.
const key = `reading ${form.dataset.keep} ${form.elements.route.value}`;
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

// Each question stands under its field, where the number was typed; the first one without a field above the form.
const ask = (questions) => {
  for (const old of form.querySelectorAll(".asked")) old.remove();
  questions.forEach((question, n) => {
    const box = document.createElement("div"), label = document.createElement("label"), tick = document.createElement("input");
    box.className = "asked";
    box.setAttribute("role", "alert");
    tick.type = "checkbox";
    tick.name = `confirm-${n + 1}`;
    tick.value = `${question.field}: ${question.text}`;
    tick.checked = question.confirmed === true;
    label.append(tick, ` ${question.text} `);
    const help = document.createElement("span");
    help.className = "quiet";
    help.textContent = "Tick it if it is so; else correct it.";
    label.append(help);
    box.append(label);
    const input = form.elements[question.field], field = input && input.closest && input.closest(".field");
    if (field) field.after(box); else asked.append(box);
  });
};

const mark = (problems) => {
  for (const input of form.querySelectorAll("[aria-invalid]")) input.removeAttribute("aria-invalid");
  for (const problem of problems) {
    const input = form.elements[problem.where];
    if (input && input.setAttribute) input.setAttribute("aria-invalid", "true");
  }
};

const post = async (more) => {
  // The clock at sending goes along: the office corrects the time of the reading by what this telephone is off.
  const body = new URLSearchParams([...new FormData(form), ...more, ["phone_clock", new Date().toISOString()]]);
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
  const isKept = keep(), sent = JSON.stringify(typed());
  tell("Sending to the office …", "sending");
  try {
    const { ok, status, said } = await post([]);
    waiting = false;
    if (ok && said.kept && sent !== JSON.stringify(typed())) {
      form.elements.sending.value = said.next;
      keep();
      ask([]);
      tell("The office has what you sent. What you typed since then is kept in this telephone, not yet sent.", "kept");
      return;
    }
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
    (form.querySelector(".asked") || told).scrollIntoView({ block: "center" });
  } catch {
    if (isKept) tell("No connection. What you typed is kept in this telephone and is sent when the connection is back; keep this page open, or come back to it.", "waiting");
    again = setTimeout(send, 20000);
  } finally {
    sending = false;
  }
};

// What was asked about a value is settled when the value changes.
const settle = (name) => {
  for (const tick of form.querySelectorAll(".asked input")) {
    if (tick.value.startsWith(`${name}: `)) tick.closest(".asked").remove();
  }
};

form.addEventListener("input", (event) => {
  if (event.target.type === "checkbox") return;
  settle(event.target.name);
  if (event.target.name === "taken_at") form.elements.taken_clock.value = "";
  waiting = false;
  clearTimeout(again);
  if (keep()) tell("Kept in this telephone, not yet sent to the office.", "kept");
});
// Questions at once, while the number is still on the instrument; silence when there is no connection.
let inquiring = false;
const inquire = async () => {
  if (inquiring || sending) return;
  inquiring = true;
  try {
    for (let round = 0; round < 5; round += 1) {
      const before = JSON.stringify(typed());
      const { said } = await post([["ask", "yes"], ["initials", form.elements.initials.value || "?"]]);
      if (sending) break;
      // Typed on meanwhile: the answer is of yesterday, ask again.
      if (before !== JSON.stringify(typed())) continue;
      if (!(said.problems || []).length) ask(said.questions || []);
      break;
    }
  } catch { /* asked when it is sent */ } finally {
    inquiring = false;
  }
};
form.addEventListener("change", (event) => {
  if (/^(set|reading|lock)-|^test_cable_us$|^demodulator_us$/.test(event.target.name || "") && event.target.value) inquire();
});
form.addEventListener("submit", (event) => {
  event.preventDefault();
  // The time of the reading is now, not when a connection is found.
  if (!form.elements.taken_at.value) {
    const now = new Date().toISOString();
    form.elements.taken_clock.value = now;
    form.elements.taken_at.value = now.slice(0, 16).replace("T", " ");
  }
  send();
});
window.addEventListener("online", () => { if (waiting) send(); });
bringBack();
const address = new URL(location.href);
if (address.searchParams.has("sent")) {
  address.searchParams.delete("sent");
  history.replaceState(null, "", address);
  tell("The office has it. Thank you.", "sent");
  told.scrollIntoView({ block: "center" });
}
if (waiting) send();
