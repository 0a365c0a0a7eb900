// The station's own script. Every page works without it; it keeps steps while
// the network is away, sends each once when it is back (the server knows a step
// by its token, so a second sending is harmless), and loads open pages anew when
// the ledger changes.
"use strict";
(() => {
  const box = document.getElementById("waiting");
  const words = box.dataset;
  const KEY = "resow.waiting", LOST = "resow.refused";
  const load = (key) => { try { return JSON.parse(localStorage.getItem(key)) || []; } catch { return []; } };
  const save = (key, list) => { try { localStorage.setItem(key, JSON.stringify(list)); return true; } catch { return false; } };
  // what was said last outlives the page's own loading anew
  const NOTE = "resow.note";
  let note = "";
  try { note = sessionStorage.getItem(NOTE) || ""; sessionStorage.removeItem(NOTE); } catch { /* it is a comfort */ }

  // 128 random bits; crypto.randomUUID is missing on plain http
  const token = () => Array.from(crypto.getRandomValues(new Uint8Array(16)), (b) => b.toString(16).padStart(2, "0")).join("");

  function element(name, text, to) {
    const e = document.createElement(name);
    e.textContent = text;
    if (to) to.append(e);
    return e;
  }

  function draw() {
    const waiting = load(KEY), lost = load(LOST);
    box.textContent = "";
    box.hidden = !waiting.length && !lost.length && !note;
    if (note) element("p", note, box);
    if (waiting.length) {
      element("strong", waiting.length === 1 ? words.single : words.many.replace("%d", waiting.length), box);
      const list = element("ul", "", box);
      for (const w of waiting) element("li", w.name + " · " + new Date(w.at).toLocaleTimeString(), list);
      element("button", words.send, box).addEventListener("click", send);
    }
    for (const l of lost) {
      const p = element("p", words.refused + " " + l.name + " · " + new Date(l.at).toLocaleTimeString() + ": " + l.why + " ", box);
      p.className = "lost";
      element("button", words.drop, p).addEventListener("click", () => { save(LOST, load(LOST).filter((x) => x.token !== l.token)); draw(); });
    }
  }

  // one sender at a time, also over several open pages of this browser
  let sending = false;
  async function send() {
    if (sending) return;
    sending = true;
    try {
      if (navigator.locks) await navigator.locks.request("resow", drain);
      else await drain();
    } finally {
      sending = false;
      draw();
    }
  }

  async function drain() {
    for (let one = load(KEY)[0]; one; one = load(KEY)[0]) {
      const form = new URLSearchParams(one.fields);
      form.set("ago_ms", Math.max(0, Date.now() - one.at));
      let body = form;
      if (one.picture) {
        body = new FormData();
        for (const [k, v] of form) body.append(k, v);
        body.append("picture", blob(one.picture), "picture.jpg");
      }
      let answer, doc = {};
      try {
        answer = await fetch(one.url, { method: "POST", body, headers: { Accept: "application/json" }, credentials: "same-origin", redirect: "error", signal: AbortSignal.timeout(20000) });
        doc = await answer.json();
      } catch { return; } // still away: keep all
      if (answer.status === 401) { note = words.pair; return; }
      if (answer.status >= 500 || answer.status === 429) return;
      save(KEY, load(KEY).filter((x) => x.token !== one.token));
      if (answer.ok) {
        const missed = (doc.steps || []).filter((s) => !s.accepted);
        note = words.sent + " " + one.name;
        if (doc.no_picture) note += ". " + words.nopicture + " " + doc.no_picture.join(" ");
        if (missed.length) note += ". " + words.missed + " " + missed.flatMap((s) => s.findings.map((f) => f.text)).join("; ");
      } else save(LOST, load(LOST).concat({ token: one.token, name: one.name, at: one.at, why: doc.error || String(answer.status) }));
      draw();
    }
  }

  function blob(data) {
    const raw = atob(data.split(",")[1]);
    return new Blob([Uint8Array.from(raw, (c) => c.charCodeAt(0))], { type: "image/jpeg" });
  }

  // a picture is kept small: there is little room on the phone
  async function shrink(file) {
    const img = await createImageBitmap(file);
    const scale = Math.min(1, 1280 / Math.max(img.width, img.height));
    const c = document.createElement("canvas");
    c.width = Math.max(1, Math.round(img.width * scale));
    c.height = Math.max(1, Math.round(img.height * scale));
    c.getContext("2d").drawImage(img, 0, 0, c.width, c.height);
    return c.toDataURL("image/jpeg", 0.8);
  }

  async function keep(form, at) {
    const data = new FormData(form);
    const file = data.get("picture");
    data.delete("picture");
    const mats = data.getAll("mat").concat((data.get("codes") || "").split(/[\n,;]+/).map((c) => c.trim()).filter(Boolean));
    const named = mats.length ? " · " + mats.slice(0, 3).join(", ") + (mats.length > 3 ? " +" + (mats.length - 3) : "") : "";
    const one = { url: form.getAttribute("action"), token: data.get("token"), name: form.dataset.keep + named, at, fields: [...data] };
    if (file && file.size) { try { one.picture = await shrink(file); } catch { /* not a picture: the step counts */ } }
    if (!save(KEY, load(KEY).filter((x) => x.token !== one.token).concat(one))) { note = words.full; draw(); return; }
    note = words.kept;
    form.reset();
    form.elements.token.value = token();
    if (form.elements.codes) form.elements.codes.value = "";
    draw();
    box.scrollIntoView();
  }

  for (const form of document.querySelectorAll("form[data-keep]")) {
    form.addEventListener("submit", async (e) => {
      e.preventDefault();
      if (form.dataset.busy) return;
      form.dataset.busy = "yes";
      const at = Date.now();
      try {
        const multi = form.enctype === "multipart/form-data";
        const data = new FormData(form);
        if (load(KEY).length) { await keep(form, at); await send(); return; } // what was done before goes first
        const answer = await fetch(form.action, { method: "POST", body: multi ? data : new URLSearchParams(data), credentials: "same-origin", headers: { Accept: "application/json" }, signal: AbortSignal.timeout(multi ? 90000 : 12000) });
        const doc = await answer.json();
        if (answer.status === 503) { await keep(form, at); return; }
        if (answer.ok) return arrived(form, doc);
        problem(doc.error || String(answer.status));
      } catch {
        await keep(form, at);
      } finally {
        delete form.dataset.busy;
      }
    });
  }

  // the page after a step is the same as without script
  function arrived(form, doc) {
    if (doc.next) return location.assign(doc.next);
    const one = doc.steps[0];
    if (form.getAttribute("action").startsWith("/m/")) location.assign("/m/" + one.code + "?step=" + one.mat_seq);
    else location.assign("/done/" + form.elements.token.value);
  }

  function problem(text) {
    document.querySelectorAll(".problem").forEach((p) => p.remove());
    const p = document.createElement("div");
    p.className = "problem";
    p.setAttribute("role", "alert");
    element("strong", words.problem, p);
    p.append(" " + text);
    document.getElementById("main").prepend(p);
    p.scrollIntoView();
  }

  // open pages follow the ledger; a page that is being filled in stays
  if (document.body.dataset.live && window.EventSource) {
    const stale = document.getElementById("stale");
    let first = !stale || stale.hidden; // an old page is loaded anew as soon as the station is there
    const live = new EventSource("/events");
    live.addEventListener("change", () => {
      if (first) { first = false; return; }
      const busy = document.activeElement && /^(INPUT|TEXTAREA|SELECT)$/.test(document.activeElement.tagName) && document.activeElement.value;
      if (busy) return;
      try { if (note) sessionStorage.setItem(NOTE, note); } catch { /* it is a comfort */ }
      location.reload();
    });
    window.addEventListener("pagehide", () => live.close());
  }

  if (window.isSecureContext && navigator.serviceWorker && document.querySelector("header")) navigator.serviceWorker.register("/sw.js").catch(() => {});

  window.addEventListener("online", send);
  document.addEventListener("visibilitychange", () => { if (!document.hidden && load(KEY).length) send(); });
  setInterval(() => { if (load(KEY).length) send(); }, 8000);
  draw();
  if (load(KEY).length) send();
})();
