// A technician's page: says at once what a reading is worth, keeps what is typed in this telephone, and sends what was
// finished when there is a connection. Without this script the form still posts.
"use strict";

const form = document.getElementById("reading-form");
const told = document.getElementById("connection");
const asked = document.getElementById("questions");
const offline = document.getElementById("offline");
const rules = form.dataset.rules ? JSON.parse(form.dataset.rules) : null;
const longest = Number(form.dataset.longest);
// By site, not by link: a new link for the same site still finds what was typed, and sends what waits.
const key = `reading ${form.dataset.keep} ${form.elements.route.value}`;
const queueKey = `queue ${form.dataset.keep}`;
const HELD_OVER = ["route", "plane", "initials", "test_cable_us", "demodulator_us", "test_signal"];
const AGAIN_MS = 20000;
const ANSWER_MS = 3000;  // so long a page that was reloaded while it sent may still be heard
let ended = false;  // the link is over
let again = 0;
let askAgain = false;  // a question went while its field was typed in

// The crew's language: `say` looks a text of this script up, `byCode` a problem's code; `inEnglish` names as English
// what has no other words yet. Without a catalogue all of it is English.
const words = form.dataset.words ? JSON.parse(form.dataset.words) : null;
const filled = (text, gaps) => text.replace(/%\((\w+)\)s/g, (_, name) => gaps[name]);
const say = (text, gaps = {}) => filled((words && words.said[text]) || text, gaps);
const inEnglish = (said) => (words && said ? say("[in English: %(said)s]", { said }) : said);
const byCode = (part, code, gaps) => {
  const text = words && words[part][code];
  return text && [...text.matchAll(/%\((\w+)\)s/g)].every((gap) => gap[1] in gaps) ? filled(text, gaps) : "";
};
// A problem of the office's answer; `told` where the office knew the language.
const whatSaid = (p) => byCode("what", p.code, p.values || {}) || inEnglish(p.what);
const problemSaid = (p) => p.told || [whatSaid(p), byCode("expected", p.code, p.values || {}) || inEnglish(p.expected)].filter(Boolean).join("; ");
// A question; what is sent back keeps the English words of the table.
const questionSaid = (q) => q.told || byCode("question", q.code, q.gaps || {}) || inEnglish(spelled(q.text));

const tell = (sentence, state) => {
  told.textContent = sentence;
  told.dataset.state = state;
  told.hidden = false;
};
const one = (tag, text, className = "") => {
  const made = document.createElement(tag);
  made.textContent = text;
  made.className = className;
  return made;
};
// Units as the fields spell them; what is sent keeps the words of the table.
const spelled = (text) => text.replace(/\bus\b/g, "µs").replace(/units of 100 ns/g, "steps of 100 ns");
const newName = () => [...crypto.getRandomValues(new Uint8Array(12))].map((byte) => byte.toString(16).padStart(2, "0")).join("");
const all = () => Object.fromEntries(new FormData(form));
const typed = () => Object.fromEntries(Object.entries(all()).filter(([name]) => !name.startsWith("confirm-")));
const something = () => Object.entries(typed()).some(([name, text]) =>
  text.trim() && !HELD_OVER.includes(name) && !["sending", "taken_clock", "taken_at"].includes(name));

const held = (name, otherwise) => {
  try { return JSON.parse(localStorage.getItem(name)) ?? otherwise; } catch { return otherwise; }
};
const hold = (name, value) => {
  try {
    localStorage.setItem(name, JSON.stringify(value));
    return true;
  } catch {
    tell(say("This browser keeps nothing: do not close the page before the office has answered."), "unkept");
    return false;
  }
};
const keep = () => hold(key, { typed: typed() });
// Times are the office's, as far as it ever answered: a telephone may be hours off.
const clockKey = "clock ahead of the office";
const ahead = () => held(clockKey, 0);
const officeTime = (pressed) =>
  new Date((pressed ? Date.parse(pressed) : Date.now()) - ahead()).toISOString().slice(0, 16).replace("T", " ");

// Questions: each under its field, where the number was typed, in the order in which they are asked.
const ask = (questions) => {
  const ticked = new Set([...form.querySelectorAll(".asked input:checked")].map((tick) => tick.value));
  for (const old of form.querySelectorAll(".asked")) old.remove();
  const last = new Map();
  questions.forEach((question, n) => {
    const box = one("div", "", "asked"), label = document.createElement("label"), tick = document.createElement("input");
    box.setAttribute("role", "alert");
    tick.type = "checkbox";
    tick.name = `confirm-${n + 1}`;
    tick.value = `${question.field}: ${question.text}`;
    tick.checked = question.confirmed === true || ticked.has(tick.value);
    label.append(tick, ` ${questionSaid(question)} `, one("span", say("Tick it if it is so; else correct it."), "quiet"));
    box.append(label);
    const input = form.elements[question.field], field = input && input.closest && input.closest(".field");
    if (field) {
      (last.get(field) || field).after(box);
      last.set(field, box);
      if (field.closest("details")) field.closest("details").open = true;
    } else asked.append(box);
  });
};
const unanswered = () => form.querySelector(".asked input:not(:checked)");

const mark = (wrong) => {
  for (const said of form.querySelectorAll(".field-wrong")) said.remove();
  for (const input of form.querySelectorAll("[aria-invalid]")) input.removeAttribute("aria-invalid");
  for (const [name, told] of Object.entries(wrong)) {
    const input = form.elements[name];
    if (!input || !input.setAttribute) continue;
    input.setAttribute("aria-invalid", "true");
    input.after(one("p", told, "field-wrong"));
    if (input.closest("details")) input.closest("details").open = true;
  }
};

// What the office would refuse, said here: nothing is cut off.
const refusals = () => {
  const wrong = {};
  for (const [name, text] of Object.entries(typed())) {
    const most = name === "initials" ? 40 : /^(remarks|test_signal|lock-|level-)/.test(name) ? longest : 200;
    if (text.length > most) wrong[name] = say("%(n)s characters, %(most)s at most: nothing is cut off, shorten it", { n: text.length, most });
  }
  return wrong;
};

let verdict = document.getElementById("verdict");
const untouched = verdict && verdict.cloneNode(true);
// A remark alone says nothing of setting or launch: what was sent before still holds.
const judgeable = () => Object.entries(typed()).some(([name, text]) => text.trim() && /^(set-|reading-)/.test(name));
const judge = (now) => {
  const found = rules ? atSite.judge(rules, typed()) : { wrong: {}, questions: [], advice: null, off: null };
  if (!rules) {
    for (const [name, text] of Object.entries(typed())) {
      if (!/^(set-|reading-)|^(test_cable_us|demodulator_us)$/.test(name) || !text.trim()) continue;
      const read = atSite.number(text);
      if (read.wrong) found.wrong[name] = read.wrong;
    }
  }
  for (const name of Object.keys(found.wrong)) found.wrong[name] = byCode("what", "not-a-number", { typed: typed()[name] }) || inEnglish(found.wrong[name]);
  const wrong = { ...found.wrong, ...refusals() };
  if (now) {
    mark(wrong);
    if (rules) ask(found.questions);
  }
  if (verdict && !judgeable() && !verdict.isEqualNode(untouched)) verdict.replaceWith(verdict = untouched.cloneNode(true));
  else if (verdict && found.advice && judgeable()) {
    const answered = new Set([...form.querySelectorAll(".asked input:checked")].map((tick) => tick.value));
    const unread = Object.keys(found.wrong);
    const slip = found.questions.some((one) => one.slip && !answered.has(`${one.field}: ${one.text}`));
    const advice = unread.length ? rules.advice.unread : slip ? rules.advice.slip : found.advice;
    verdict.dataset.does = advice.does;
    document.getElementById("verdict-word").textContent = unread.length ? `${advice.word}: ${unread.map(label).join(", ")}` : advice.word;
    document.getElementById("verdict-off").textContent = unread.length || found.off === null ? "" : `${found.off}\u202fµs`.replace("-", "−");
    document.getElementById("verdict-text").textContent = [verdict.dataset.waits, advice.text].filter(Boolean).join(" ");
  }
  return { ...found, wrong };
};

const bringBack = () => {
  const before = held(key, null);
  if (!before || !before.typed) {
    form.elements.sending.value = newName();
    return;
  }
  for (const [name, value] of Object.entries(before.typed)) {
    if (form.elements[name]) form.elements[name].value = value;
  }
  if (!something()) return;
  judge(true);
  tell(say("Kept in this telephone, not yet sent to the office."), "kept");
};

// The queue: readings that were finished, in their order. `tried` is when one was sent last: a page that comes after
// that one does not send it at the same time.
const mine = new Set();
const queue = () => held(queueKey, []);
const unqueue = (name, change) => {
  const left = queue().flatMap((item) => (item.form.sending !== name ? [item] : change ? [change(item)] : []));
  hold(queueKey, left);
  show();
};
const retried = (name, at) => hold(queueKey, queue().map((item) => (item.form.sending === name ? { ...item, tried: at } : item)));
const show = () => {
  const items = queue();
  const list = document.getElementById("queue-list");
  document.getElementById("queue").hidden = !items.length;
  list.replaceChildren(...items.map((item) => {
    const line = one("li", ""), said = Object.entries(item.form).filter(([name, text]) => text.trim() && /^(set-|reading-|lock-|level-|remarks)/.test(name));
    line.append(one("b", `${item.form.taken_at || officeTime(item.form.taken_clock)} UTC, ${item.form.initials}`), one("p", said.map(([name, text]) => `${label(name)} ${text}`).join(" · ")));
    if (item.refused) {
      const button = one("button", say("Take it back to correct it"), "second");
      button.type = "button";
      button.addEventListener("click", () => takeBack(item));
      line.append(one("p", say("The office did not take it: %(why)s", { why: item.refused }), "field-wrong"), button);
    }
    return line;
  }));
};
const label = (name) => {
  const found = form.querySelector(`label[for="${name}"]`);
  return found ? found.textContent : name;
};
const takeBack = (item) => {
  if (something()) {
    tell(say("Send what is typed above first, then take this one back."), "kept");
    return;
  }
  for (const [name, value] of Object.entries(item.form)) if (form.elements[name]) form.elements[name].value = value;
  keep();
  unqueue(item.form.sending);
  judge(true);
  form.scrollIntoView();
};

const post = async (item) => {
  // The clock at sending goes along: the office corrects the time of the reading by what this telephone is off.
  const body = new URLSearchParams({ ...item.form, phone_clock: new Date().toISOString() });
  const stop = new AbortController(), late = setTimeout(() => stop.abort(), 30000);
  try {
    const answer = await fetch(form.action, { method: "POST", body, headers: { Accept: "application/json" }, signal: stop.signal });
    return { status: answer.status, said: await answer.json() };
  } finally {
    clearTimeout(late);
  }
};

// Said before leaving: a browser that brings back its place may do so after the page that comes has scrolled to its top.
const anew = (go) => {
  history.scrollRestoration = "manual";
  go();
};
const over = (why) => {
  ended = true;
  if (navigator.serviceWorker && navigator.serviceWorker.controller) navigator.serviceWorker.controller.postMessage({ forget: true });
  if (verdict) verdict.hidden = true;
  tell(say("%(why)s. Set nothing from this page. What was typed is kept in this telephone, and is sent from a new link for this site.", { why }), "over");
};

const flushQueue = async () => {
  clearTimeout(again);
  let sent = 0;
  for (let items = queue().filter((item) => !item.refused); items.length && !ended; items = queue().filter((item) => !item.refused)) {
    const [item] = items;
    const left = ANSWER_MS - (Date.now() - (item.tried || 0));
    if (left > 0 && left <= ANSWER_MS && !mine.has(item.form.sending)) {
      tell(say("Sent just now, before this page was loaded anew: looking whether the office has it …"), "sending");
      again = setTimeout(flush, left);
      return;
    }
    mine.add(item.form.sending);
    if (!retried(item.form.sending, Date.now())) return;
    tell(say("Sending to the office …"), "sending");
    try {
      const { status, said } = await post(item);
      if (status === 200 && said.kept) {
        unqueue(item.form.sending);
        sent += 1;
        continue;
      }
      const why = [...(said.problems || []).map(problemSaid), ...(said.questions || []).map(questionSaid)].join(". ");
      if (status === 404 || status === 410) over(why);
      else if (status === 422) unqueue(item.form.sending, (old) => ({ ...old, refused: why }));
      else {
        tell(say("The office could not take it now (%(why)s). What you finished is kept in this telephone and is sent again; keep this page open, or come back to it.", { why: why || status }), "waiting");
        again = setTimeout(flush, AGAIN_MS);
        return;
      }
    } catch {
      tell(say("No connection. What you finished is kept in this telephone and is sent when the connection is back; keep this page open, or come back to it."), "waiting");
      again = setTimeout(flush, AGAIN_MS);
      return;
    }
  }
  if (ended) return;
  if (queue().some((item) => item.refused)) tell(say("The office did not take everything: see below."), "refused");
  else if (sent && !something()) {
    const address = new URL(location.href);
    address.searchParams.set("sent", Date.now());
    anew(() => location.replace(address));
  } else if (sent) tell(say("The office has what you sent. What you typed since then is kept in this telephone, not yet sent."), "kept");
};
// One tab at a time; where there are no locks the office keeps the same sending once.
const flush = () => (navigator.locks ? navigator.locks.request(queueKey, flushQueue) : flushQueue());

const finish = () => {
  const found = judge(true);
  const wrong = { ...found.wrong };
  if (!form.elements.initials.value.trim()) wrong.initials = say("a reading needs initials");
  if (!something()) wrong["set-1" in form.elements ? "set-1" : "remarks"] = say("nothing was typed");
  mark(wrong);
  if (Object.keys(wrong).length) {
    tell(say("Not sent: %(why)s.", { why: Object.entries(wrong).map(([name, told]) => `${label(name)}: ${told}`).join(". ") }), "refused");
    form.querySelector("[aria-invalid]").scrollIntoView({ block: "center" });
    return;
  }
  if (unanswered()) {
    tell(say("Not sent yet: something looks like a slip, see below."), "refused");
    unanswered().scrollIntoView({ block: "center" });
    return;
  }
  // The time of the reading is now, not when a connection is found.
  if (!form.elements.taken_at.value) form.elements.taken_clock.value = new Date().toISOString();
  if (!hold(queueKey, [...queue(), { form: all() }])) return;
  for (const input of form.querySelectorAll("input:not([type=hidden]):not([type=checkbox]), textarea")) {
    if (!HELD_OVER.includes(input.name)) input.value = "";
  }
  form.elements.sending.value = newName();
  form.elements.taken_clock.value = "";
  ask([]);
  keep();
  show();
  flush();
};

form.addEventListener("input", (event) => {
  if (event.target.type === "checkbox") return;
  if (event.target.name === "taken_at") form.elements.taken_clock.value = "";
  // What was asked about a value is settled when the value changes.
  for (const tick of form.querySelectorAll(".asked input")) {
    if (!tick.value.startsWith(`${event.target.name}: `)) continue;
    tick.closest(".asked").remove();
    askAgain = true;
  }
  judge(false);
  if (keep()) tell(say("Kept in this telephone, not yet sent to the office."), "kept");
});
form.addEventListener("change", (event) => {
  if (event.target.type !== "checkbox") askAgain = false;
  judge(event.target.type !== "checkbox");
});
// The same value typed anew is no change, and is asked about all the same.
form.addEventListener("focusout", () => {
  if (askAgain) judge(true);
  askAgain = false;
});
form.addEventListener("submit", (event) => {
  event.preventDefault();
  finish();
});

// Whether what is shown still holds; a page that was kept may be older than the plan.
const clockSaid = () => {
  const n = Math.round(Math.abs(ahead()) / 60000), long = n < 60 ? `${n} min` : `${Math.floor(n / 60)} h ${n % 60} min`;
  if (n < 2) return "";
  return ` ${ahead() > 0 ? say("This telephone's clock is %(long)s fast: do not type times from it.", { long }) : say("This telephone's clock is %(long)s slow: do not type times from it.", { long })}`;
};
const look = async () => {
  if (ended) return;
  try {
    const answer = await fetch(form.dataset.state, { headers: { Accept: "application/json" } });
    const at = Date.parse(answer.headers.get("Date") || "");
    if (!Number.isNaN(at)) hold(clockKey, Date.now() - at);
    const said = await answer.json();
    if (answer.status === 404 || answer.status === 410) over((said.problems || []).map(whatSaid).join(". ") || say("This link is over"));
    else if (answer.ok && said.seen !== form.dataset.seen) {
      if (something()) tell(say("This page is out of date: something has changed at the office. Set nothing more from it before you reload it; what is typed is kept."), "stale");
      else anew(() => location.reload());
    } else if (answer.ok) stand(say("Looked at the office at %(time)s UTC: this page is the present one.", { time: officeTime().slice(11) }) + clockSaid());
  } catch {
    stand(say("No connection at %(time)s UTC: nobody can say here whether the plan has changed since this page came. Ask the control room before you set anything.", { time: officeTime().slice(11) }) + clockSaid());
  }
};
const until = offline.textContent;
let keeps = "", looked = "";
const stand = (sentence) => {
  looked = sentence;
  offline.textContent = [until, keeps, looked].filter(Boolean).join(" ");
};

const worker = async () => {
  if (!window.isSecureContext || !navigator.serviceWorker) {
    keeps = say("This page came without TLS, so it does not open again without a connection: keep it open. What you type stays in this browser.");
    return;
  }
  try {
    await navigator.serviceWorker.register(form.dataset.worker, { scope: location.pathname });
    const ready = await navigator.serviceWorker.ready;
    navigator.serviceWorker.addEventListener("message", (event) => {
      keeps = event.data.kept ? say("This page opens without a connection too.") : say("This page is not wholly kept for use without a connection: keep it open.");
      document.documentElement.dataset.kept = event.data.kept ? "yes" : "no";
      stand(looked);
    });
    const files = [...document.querySelectorAll("link[rel=stylesheet], link[rel=icon]")].map((link) => link.href);
    for (const own of document.querySelectorAll("script[src], img[src]")) files.push(own.src);
    const routes = [...document.querySelectorAll("a.other-route")].map((link) => link.href.split("#")[0]);
    ready.active.postMessage({ keep: [...new Set([location.href.split("#")[0], ...files, ...routes])] });
  } catch {
    keeps = say("This browser does not keep the page: it does not open again without a connection. What you type stays in this browser.");
  }
};

window.addEventListener("online", () => { look(); flush(); });
window.addEventListener("offline", look);
setInterval(look, AGAIN_MS);
// A page that came anew because something changed begins at its top: what was ordered stands there.
if (performance.getEntriesByType("navigation")[0]?.type === "reload" || new URL(location.href).searchParams.has("sent")) {
  history.scrollRestoration = "manual";
  if (document.querySelector(".at-site > .stale")) window.scrollTo(0, 0);
}
bringBack();
show();
const address = new URL(location.href);
if (address.searchParams.has("sent")) {
  address.searchParams.delete("sent");
  history.replaceState(null, "", address);
  tell(say("The office has it. Thank you."), "sent");
}
worker().then(() => { look(); flush(); });
