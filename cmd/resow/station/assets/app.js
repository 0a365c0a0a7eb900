// The forms of steps. Every page works without script; with it a step is kept on the
// phone before it is sent (kept.js).
"use strict";
(() => {
  // a picture is kept small: there is little room on the phone
  async function shrink(file) {
    const img = new Image();
    const seen = new Promise((done) => { img.onload = () => done(true); img.onerror = () => done(false); });
    img.src = URL.createObjectURL(file);
    if (!await seen) return asIs(file);
    const scale = Math.min(1, 1280 / Math.max(img.naturalWidth, img.naturalHeight));
    const c = document.createElement("canvas");
    c.width = Math.max(1, Math.round(img.naturalWidth * scale));
    c.height = Math.max(1, Math.round(img.naturalHeight * scale));
    c.getContext("2d").drawImage(img, 0, 0, c.width, c.height);
    URL.revokeObjectURL(img.src);
    return c.toDataURL("image/jpeg", 0.8);
  }
  // what this browser can't read is the station's to judge
  const asIs = (file) => new Promise((done, failed) => {
    const r = new FileReader();
    r.onload = () => done(r.result);
    r.onerror = failed;
    r.readAsDataURL(file);
  });

  async function stepOf(form, at, mended) {
    const data = new FormData(form), file = data.get("picture");
    data.delete("picture");
    const mats = data.getAll("mat").concat((data.get("codes") || "").split(/[\n,;]+/).map((c) => c.trim()).filter(Boolean));
    const named = mats.length ? " · " + mats.slice(0, 3).join(", ") + (mats.length > 3 ? " +" + (mats.length - 3) : "") : "";
    const step = { token: data.get("token"), url: form.getAttribute("action"), page: location.pathname + location.search, name: form.dataset.keep + named,
      fields: [...data], state: "waiting", at, by: kept.words.me, pass: kept.words.pass, danger: form.dataset.danger === "yes" };
    if (mended) {
      const was = (mended.fields.find(([k]) => k === "at") || ["at", ""])[1];
      Object.assign(step, { at: data.get("at") === was ? mended.at : at, by: mended.by, pass: mended.pass, picture: mended.picture });
    }
    if (file && file.size) step.picture = await shrink(file);
    return step;
  }

  // The form of a refused step is filled in again with what was entered. It keeps its
  // time and its maker; its token stays refused.
  function mend(form) {
    let step = null;
    try { step = kept.get(sessionStorage.getItem("resow.mend")); } catch { /* nothing to mend */ }
    if (!step || step.url !== form.getAttribute("action")) return null;
    try { sessionStorage.removeItem("resow.mend"); } catch { /* it is filled in once more */ }
    const values = new Map();
    for (const [k, v] of step.fields) values.set(k, (values.get(k) || []).concat(v));
    const mats = values.get("mat") || [];
    for (const e of form.elements) {
      const v = values.get(e.name) || [];
      if (e.type === "radio" || e.type === "checkbox") e.checked = v.includes(e.value);
      else if (e.name && e.name !== "token" && e.type !== "file") e.value = v.join("\n");
      if (e.name === "mat" && e.checked) mats.splice(mats.indexOf(e.value), 1);
    }
    if (form.elements.codes) form.elements.codes.value = mats.concat(values.get("codes") || []).join("\n");
    for (const d of form.querySelectorAll("details")) d.open = d.open || [...d.querySelectorAll("input, textarea")].some((e) => e.value);
    kept.say(kept.words.mending.replace("%s", kept.when(step)) + " " + step.why);
    kept.opened(step.token);
    return step;
  }

  for (const form of document.querySelectorAll("form[data-keep]")) {
    let mended = mend(form);
    form.addEventListener("submit", async (e) => {
      e.preventDefault();
      if (form.dataset.busy) return;
      form.dataset.busy = "yes";
      try {
        const before = kept.get(form.elements.token.value);
        if (before && before.state !== "refused") form.elements.token.value = kept.token(); // the page came back out of the browser's memory
        const step = await stepOf(form, Date.now(), mended), now = await kept.enter(step, mended);
        if (now.state === "sent" && now.doc) return arrived(form, now.doc);
        if (now.state === "refused") { mended = mended && now; kept.opened(step.token); return problem(now.why); }
        mended = null;
        form.reset();
        form.elements.token.value = kept.token();
        if (form.elements.codes) form.elements.codes.value = "";
        document.getElementById("waiting").scrollIntoView();
      } catch (failed) {
        problem(String(failed));
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
    kept.element("strong", kept.words.problem, p);
    p.append(" " + text);
    document.getElementById("main").prepend(p);
    p.scrollIntoView();
  }

  if (window.isSecureContext && navigator.serviceWorker && document.querySelector("header")) navigator.serviceWorker.register("/sw.js").catch(() => {});
})();
