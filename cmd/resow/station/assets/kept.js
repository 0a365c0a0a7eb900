// What this phone keeps of the steps that were entered on it. Every step is stored
// before it is sent, so that nothing that happens on the way can lose it:
//
//   waiting  not answered yet, or answered with something that will pass
//   held     with the station, for a supervisor to decide
//   refused  by the ledger's rules: to be mended, or seen and put away
//   sent     on record; kept for 14 days, for a ledger that was restored from before
//
// One entry a step, so that two open pages never write over each other. The station
// knows a step by its token: sending it again is harmless.
"use strict";
const kept = (() => {
  const box = document.getElementById("waiting"), words = box.dataset;
  const KEY = "resow.step.", DAYS = 14 * 24 * 3600e3;
  const NOTICE = 2500, PLAIN = 10000, LARGE = 60000; // ms: until a person is told, until an attempt is given up
  let note = "", first = "", answers = {};

  // what was said last outlives the page's own loading anew
  try { note = sessionStorage.getItem("resow.note") || ""; sessionStorage.removeItem("resow.note"); } catch { /* a comfort */ }
  if (note.startsWith(words.again)) first = words.again + " ";
  let leaving = false;
  const carry = () => { leaving = true; try { if (note) sessionStorage.setItem("resow.note", note); } catch { /* a comfort */ } };

  // 128 random bits; crypto.randomUUID is missing on plain http
  const token = () => Array.from(crypto.getRandomValues(new Uint8Array(16)), (b) => b.toString(16).padStart(2, "0")).join("");

  function get(t) {
    try { return JSON.parse(localStorage.getItem(KEY + t)); } catch { return null; }
  }
  function all(state) {
    let keys = [];
    try { keys = Object.keys(localStorage).filter((k) => k.startsWith(KEY)); } catch { /* a browser that keeps nothing */ }
    return keys.map((k) => get(k.slice(KEY.length))).filter((s) => s && (!state || s.state === state)).sort((a, b) => a.at - b.at);
  }
  // What is on record makes room for what is not.
  function put(step) {
    for (;;) {
      try { localStorage.setItem(KEY + step.token, JSON.stringify(step)); return true; } catch {
        const oldest = all("sent")[0];
        if (!oldest) return false;
        drop(oldest.token);
      }
    }
  }
  function drop(t) { try { localStorage.removeItem(KEY + t); } catch { /* nothing was kept */ } }

  // No AbortSignal.timeout: older phones have none. The time holds until the whole
  // answer is there.
  async function ask(url, body, ms) {
    const stop = new AbortController(), timer = setTimeout(() => stop.abort(), ms);
    try {
      const answer = await fetch(url, { method: "POST", body, headers: { Accept: "application/json" }, credentials: "same-origin", redirect: "error", signal: stop.signal });
      return { status: answer.status, ok: answer.ok, doc: await answer.json() };
    } finally { clearTimeout(timer); }
  }

  function bodyOf(step) {
    const form = step.picture ? new FormData() : new URLSearchParams();
    for (const [k, v] of step.fields) form.append(k, v);
    form.append("kept_by", step.by);
    form.append("kept_pass", step.pass);
    const ago = Date.now() - step.at;
    if (ago > 2000) form.append("ago_ms", ago);
    if (step.picture) form.append("picture", blob(step.picture), "picture.jpg");
    return form;
  }
  function blob(data) {
    const [head, raw] = data.split(",");
    return new Blob([Uint8Array.from(atob(raw), (c) => c.charCodeAt(0))], { type: head.slice(5).split(";")[0] });
  }

  // Only what the station calls final is: a shift that ended, a device that was
  // revoked, a busy station or a stranger's answer all pass.
  async function attempt(step) {
    let got;
    try { got = await ask(step.url, bodyOf(step), step.picture ? LARGE : PLAIN); } catch { return { state: "waiting", stop: true }; }
    const { status } = got, doc = got.doc || {}, why = doc.error || String(status);
    if (note === words.kept) note = first; // it can be reached
    if (status === 202) return { state: "held", why };
    if (got.ok && Array.isArray(doc.steps) && doc.steps.length) return { state: "sent", doc };
    if (doc.final === true) return { state: "refused", why };
    return { state: "waiting", why, status, stop: Boolean(step.by) && ![400, 404, 405, 413, 415].includes(status) };
  }

  // Older ones first. A step whose maker nobody named waits for a name, unless it may
  // report danger: the station takes that as this device's.
  async function drain() {
    const tried = new Set();
    for (let step; (step = all("waiting").find((s) => (s.by || s.danger) && !tried.has(s.token)));) {
      tried.add(step.token);
      const { state, why, doc, stop, status } = await attempt(step);
      const now = get(step.token);
      if (now && now.state === "waiting" && !put(after({ ...now, state, why, status }, doc)) && state === "sent") drop(step.token); // no room to note it
      if (doc) answers[step.token] = doc;
      if (state === "sent") said(step, doc);
      draw();
      if (stop) return;
    }
  }
  function after(step, doc) {
    if (step.state !== "sent") return step;
    delete step.picture; // the station has it, and there is little room here
    return { ...step, seq: Math.max(...doc.steps.map((s) => s.seq)), ledger: doc.ledger };
  }
  function said(step, doc) {
    note = first + words.sent + " " + step.name;
    const missed = doc.steps.filter((s) => !s.accepted);
    if (doc.no_picture) note += ". " + words.nopicture + " " + doc.no_picture.join(" ");
    if (doc.lost) note += ". " + words.lost + " " + doc.lost.join(" ");
    if (missed.length) note += ". " + words.missed + " " + missed.flatMap((s) => s.findings.map((f) => f.text)).join("; ");
    if (leaving) carry(); // the answer came while the page was already loading anew
  }
  let running = null;
  function send() {
    running = running || drain().finally(() => { running = null; draw(); });
    return running;
  }

  // enter keeps a new step, instead of one that was mended, and tries to send it; it
  // comes back when that is settled, or after NOTICE ms, while the attempt goes on.
  async function enter(step, instead) {
    const safe = put(step);
    about = true;
    if (safe && instead && instead.token !== step.token) drop(instead.token);
    if (!safe) { // no room at all: try once, and say so
      const got = await attempt(step);
      if (got.state === "waiting") note = words.full;
      draw();
      return got;
    }
    await Promise.race([send(), new Promise((done) => setTimeout(done, NOTICE))]);
    const now = get(step.token) || { ...step, state: answers[step.token] ? "sent" : step.state };
    if (now.state === "held") note = now.why;
    if (now.state === "waiting") note = now.why || (now.by ? words.kept : words.nobody);
    draw();
    return { ...now, doc: answers[step.token] };
  }

  // check asks what became of steps: of those that a supervisor decides, and of those
  // that were on record, where the ledger may have been restored from before.
  async function check() {
    for (const s of all("sent")) if (Date.now() - s.at > DAYS) drop(s.token);
    if (!words.ledger) return;
    const sent = all("sent").filter((s) => s.ledger && s.ledger.ledger === words.ledger).sort((a, b) => b.seq - a.seq);
    const last = sent.length ? sent.reduce((a, b) => (b.ledger.position > a.ledger.position ? b : a)).ledger : null;
    const here = Number(words.position);
    const older = last && (here < last.position || here === last.position && words.head !== last.head);
    await offer(all("held").concat(older ? sent : sent.slice(0, 1)), older ? [] : sent.slice(1));
  }
  async function offer(steps, others) {
    if (!steps.length) return;
    let got;
    try { got = await ask("/kept", new URLSearchParams(steps.slice(0, 2000).map((s) => ["token", s.token])), PLAIN); } catch { return; } // the next page asks again
    if (!got.ok || !got.doc.steps) return;
    const { steps: fates, ledger } = got.doc;
    let lacking = 0;
    for (const s of steps.slice(0, 2000)) {
      const fate = fates[s.token] || { state: "waiting" };
      if (fate.state === s.state) continue;
      if (s.state === "sent") lacking++;
      put({ ...s, state: fate.state, why: fate.why, seq: s.seq || ledger.position, ledger: s.ledger || ledger });
    }
    if (lacking) note = first = words.again + " ";
    if (lacking) await offer(others, []);
    draw();
    if (all("waiting").length) send();
  }

  function element(name, text, to) {
    const e = document.createElement(name);
    e.textContent = text;
    if (to) to.append(e);
    return e;
  }
  function button(text, to, does) {
    const b = element("button", text, to);
    b.type = "button";
    b.className = "quiet";
    b.addEventListener("click", does);
  }
  const when = (s) => new Date(s.at).toLocaleString([], { month: "short", day: "numeric", hour: "numeric", minute: "2-digit" });
  function link(text, to) {
    const a = element("a", text, box);
    a.href = to;
    a.className = "button";
  }
  function line(s, to) {
    const li = element("li", s.name + " · " + when(s) + (s.by ? " · " + words.by.replace("%s", s.by) : ""), to);
    if (s.why) element("p", s.why, li);
    if (s.state === "waiting" && !s.by && words.me) button(words.mine.replace("%s", words.me), li, () => { put({ ...s, by: words.me, pass: words.pass, why: "" }); send(); });
    if (s.state === "refused") {
      button(words.mend, li, () => { try { sessionStorage.setItem("resow.mend", s.token); } catch { /* the form stays empty */ } location.assign(s.page); });
      button(words.drop, li, () => { drop(s.token); draw(); });
    }
  }
  function list(title, steps, to) {
    if (!steps.length) return;
    element("strong", title.replace("%d", steps.length), to);
    const ul = element("ul", "", to);
    for (const s of steps) line(s, ul);
  }
  // Above a page that is about something else the steps are folded up: what the person
  // came for must not lie below them.
  const unfolded = {};
  let about = location.pathname === "/kept";
  function fold(title, steps) {
    if (!steps.length) return;
    const d = element("details", "", box);
    d.open = unfolded[title] ?? (about || steps.some((s) => s.state === "waiting" && !s.by)); // somebody is asked
    d.addEventListener("toggle", () => { unfolded[title] = d.open; });
    list(title, steps, element("div", "", d));
    const summary = element("summary", "");
    summary.append(d.querySelector("strong"));
    d.prepend(summary);
  }
  let open = ""; // the form on this page says itself what is wrong with it
  function draw() {
    const waiting = all("waiting"), refused = all("refused").filter((s) => s.token !== open), held = all("held");
    box.textContent = "";
    box.hidden = !waiting.length && !refused.length && !note;
    if (note) element("p", note, box);
    fold(waiting.length === 1 ? words.single : words.many, waiting);
    if (waiting.length) {
      button(words.send, box, () => { note = ""; send(); });
      const unknown = waiting.some((s) => s.status === 401);
      if (unknown) link(words.pair, "/pair");
      else if (words.ledger && !words.me || waiting.some((s) => s.status === 403)) link(words.pick, "/shift");
    }
    fold(words.refused, refused);
    const page = document.getElementById("kept");
    if (!page) return;
    page.textContent = "";
    list(words.held, held, page);
    list(words.done, all("sent").reverse(), page);
    if (!page.firstChild && !waiting.length && !refused.length) element("p", words.none, page);
  }

  window.addEventListener("online", send);
  document.addEventListener("visibilitychange", () => { if (!document.hidden && all("waiting").length) send(); });
  window.addEventListener("storage", (e) => { if (e.key && e.key.startsWith(KEY)) draw(); });
  setInterval(() => { if (!document.hidden && all("waiting").length) send(); }, 8000);
  draw();
  if (all("waiting").length) send();
  check();

  return { words, when, token, get, enter, element, carry, say: (text) => { note = text; draw(); }, opened: (t) => { open = t; draw(); } };
})();
