// Says that something has changed since the page was made, and offers to show it.
// Nothing is replaced by itself: somebody may be typing or reading a number aloud.
// Without this script the page is as it was when it was opened.
(() => {
  const line = document.getElementById("changed");
  if (!line || !window.EventSource) return;
  let source = null, tries = 0, due = 0;

  function changed() {
    clearTimeout(due);
    due = setTimeout(() => { line.hidden = false; }, 300);
  }

  // A page that nobody sees listens to nothing: browsers give all pages of a host six
  // connections together. Shown again, it says that something may have changed.
  const hiddenFor = 5000;
  let hiding = 0;
  document.addEventListener("visibilitychange", () => {
    clearTimeout(hiding);
    if (document.hidden) hiding = setTimeout(() => { if (source) source.close(); source = null; }, hiddenFor);
    else if (!source) { tries = 1; listen(); }
  });

  function listen() {
    if (document.hidden) return;
    const s = source = new EventSource("/events");
    s.onopen = () => { if (tries > 0) changed(); tries = 0; }; // what was missed meanwhile
    s.onerror = () => {
      s.close();
      if (s !== source || ++tries > 8) return;
      setTimeout(listen, Math.min(30000, 1000 * 2 ** tries));
    };
    for (const kind of line.dataset.kinds.split(" ")) s.addEventListener(kind, changed);
  }

  addEventListener("pagehide", () => { if (source) source.close(); source = null; });
  addEventListener("pageshow", (e) => { if (e.persisted) { tries = 1; listen(); } });
  listen();
})();
