// Open pages follow the ledger; a page that is being filled in stays. One page of a
// browser listens, since browsers open few connections to one station, and tells the
// others. Nothing listens while it is hidden.
"use strict";
(() => {
  if (!document.body.dataset.live || !window.EventSource) return;
  const LEASE = "resow.lease", NEWS = "resow.news", HOLDS = 6000, EVERY = 2000; // ms
  const me = kept.token(), stateOf = (l) => l.position + "-" + l.head, here = stateOf(kept.words);
  let live = null, opened = 0, enough = false, leaving = 0;

  const read = (key) => { try { return localStorage.getItem(key); } catch { return null; } };
  const write = (key, text) => { try { localStorage.setItem(key, text); } catch { /* then every page listens */ } };
  const holder = () => { const [id, until] = (read(LEASE) || " 0").split(" "); return until > Date.now() && until < Date.now() + 2 * HOLDS ? id : ""; };

  function told(state) {
    if (!state || state === here || document.hidden || Date.now() - leaving < 5000) return; // a tap is not taken back
    const busy = document.activeElement && /^(INPUT|TEXTAREA|SELECT)$/.test(document.activeElement.tagName) && document.activeElement.value;
    if (busy) return;
    kept.carry();
    location.reload();
  }

  function listen() {
    if (live) return;
    opened = Date.now();
    live = new EventSource("/events");
    live.addEventListener("change", (e) => { const state = stateOf(JSON.parse(e.data)); write(NEWS, state); told(state); });
    live.addEventListener("enough", () => { enough = true; close(); }); // another page took the place
  }
  function close() {
    if (live) live.close();
    live = null;
  }

  function follow() {
    if (document.hidden || enough) return;
    const who = holder();
    if (who && who !== me) return close();
    write(LEASE, me + " " + (Date.now() + HOLDS));
    if (live && live.readyState === EventSource.CLOSED && Date.now() - opened > 30000) close();
    if (who === me) listen();
    else setTimeout(() => { if (!document.hidden && (holder() === me || !read(LEASE))) listen(); }, 100 + 300 * Math.random()); // two may have written at once
  }
  function leave() {
    close();
    if (holder() === me) try { localStorage.removeItem(LEASE); } catch { /* it ends by itself */ }
  }

  document.addEventListener("visibilitychange", () => {
    enough = false;
    if (document.hidden) return leave();
    told(read(NEWS));
    follow();
  });
  window.addEventListener("beforeunload", () => { leaving = Date.now(); });
  window.addEventListener("pagehide", leave);
  window.addEventListener("pageshow", follow);
  window.addEventListener("storage", (e) => {
    if (e.key === NEWS) told(e.newValue);
    if (e.key === LEASE && !e.newValue) setTimeout(follow, 300 * Math.random());
  });
  setInterval(follow, EVERY);
})();
