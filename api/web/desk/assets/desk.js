// Says that something has changed since the page was made, and offers to show it; and
// that nobody can tell, while there is no connection. Nothing is replaced by itself:
// somebody may be typing or reading a number aloud. Without this script the page is
// as it was when it was opened.
(() => {
  const line = document.getElementById("changed");
  const lost = document.getElementById("lost");
  if (!line || !lost || !window.EventSource) return;
  let source = null, tries = 0, due = 0, retry = 0, ended = false, missed = false;
  let heard = clock(); // until when what stands here is known to be true

  function clock() {
    return new Intl.DateTimeFormat("en-GB", { timeZone: line.dataset.zone, hour: "2-digit", minute: "2-digit" }).format(Date.now());
  }
  function say(text) { if (lost.textContent !== text) lost.textContent = text; }

  function changed() {
    clearTimeout(due);
    due = setTimeout(() => { line.hidden = false; }, 300);
  }

  function signedOut() {
    ended = true;
    if (source) source.close();
    say("You are signed out. ");
    const a = document.createElement("a");
    a.href = location.href;
    a.textContent = "Sign in to go on";
    lost.append(a);
  }

  // A stream that fails does not say why; this asks.
  async function stillIn() {
    const stop = new AbortController();
    try {
      const a = await fetch("/events", { signal: stop.signal, redirect: "manual", cache: "no-store" });
      if (a.status === 401 || a.type === "opaqueredirect") signedOut();
    } catch { /* no connection, which is said already */ }
    stop.abort();
  }

  function later() {
    if (source) source.close();
    source = null;
    clearTimeout(retry);
    if (ended || document.hidden) return;
    const wait = Math.min(30000, 1000 * 2 ** tries) * (0.7 + 0.6 * Math.random());
    missed = true;
    if (++tries > 1) {
      say("No connection since " + heard + ". What stands here may be old.");
      stillIn();
    }
    retry = setTimeout(listen, wait);
  }

  // A page that nobody sees listens to nothing: browsers give all pages of a host six
  // connections together. Shown again, it says that something may have changed.
  const hiddenFor = 5000;
  let hiding = 0;
  document.addEventListener("visibilitychange", () => {
    clearTimeout(hiding);
    if (document.hidden) hiding = setTimeout(() => { clearTimeout(retry); if (source) source.close(); source = null; }, hiddenFor);
    else if (!source && !ended) { missed = true; listen(); }
  });

  function listen() {
    clearTimeout(retry);
    if (document.hidden) { missed = true; return; }
    const s = source = new EventSource("/events");
    s.onopen = () => {
      if (s !== source) return;
      if (missed) changed(); // something may have been missed
      missed = false;
      tries = 0;
      heard = clock();
      say("");
    };
    s.onerror = () => { if (s === source) later(); };
    s.addEventListener("ping", () => { heard = clock(); });
    for (const kind of line.dataset.kinds.split(" ")) s.addEventListener(kind, () => { heard = clock(); changed(); });
  }

  addEventListener("online", () => { if (!ended) { tries = 0; if (source) source.close(); listen(); } });
  addEventListener("offline", () => { tries = Math.max(tries, 1); if (!ended) later(); });
  addEventListener("pagehide", () => { clearTimeout(retry); if (source) source.close(); source = null; });
  addEventListener("pageshow", (e) => { if (e.persisted && !ended) { missed = true; listen(); } });
  listen();
})();
