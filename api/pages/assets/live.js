// The board follows the day: it listens for changes, fetches the parts that
// change with the day and puts them in place of the old ones. What is typed, what
// has the focus and what is scrolled to stays. Without this script the board is a
// page like any other.
(() => {
  const body = document.body;
  const part = (name) => document.querySelector('[data-part="' + name + '"]');
  const lost = document.getElementById("lost");
  const shown = {}; // what the server sent of each part last
  let tag = body.dataset.tag;
  let ahead = 0; // the salon's clock less this machine's, in ms
  let heard = clock(Date.now()); // until when what is shown is known to be true

  function clock(ms) {
    return new Intl.DateTimeFormat("en-GB", { timeZone: body.dataset.zone, hour: "2-digit", minute: "2-digit" }).format(ms);
  }

  // Where the focus is, so that it can be found again among new elements.
  function place(root) {
    const at = document.activeElement;
    if (!root.contains(at)) return null;
    const key = (e) => [e.tagName, e.id, e.getAttribute("href"), e.getAttribute("name"), e.getAttribute("action"), e.dataset.key].join("\n");
    const same = [...root.querySelectorAll("*")].filter((e) => key(e) === key(at));
    const nth = same.indexOf(at), k = key(at);
    return () => {
      const now = [...root.querySelectorAll("*")].filter((e) => key(e) === k);
      const next = now[Math.min(nth, now.length - 1)];
      if (next) next.focus({ preventScroll: true });
    };
  }

  function put(old, fresh) {
    const back = place(old);
    const left = old.scrollLeft;
    const open = [...old.querySelectorAll("details")].map((d) => d.open);
    const typed = [...old.querySelectorAll("input:not([type=hidden])")].map((i) => [i.id, i.value, i.defaultValue]);
    for (const a of [...old.attributes]) if (!fresh.hasAttribute(a.name)) old.removeAttribute(a.name);
    for (const a of fresh.attributes) old.setAttribute(a.name, a.value);
    old.replaceChildren(...fresh.childNodes);
    old.querySelectorAll("details").forEach((d, i) => { d.open = !!open[i]; });
    for (const [id, value, was] of typed) {
      const i = id && document.getElementById(id);
      if (i && value !== was) i.value = value;
    }
    old.scrollLeft = left;
    old.dispatchEvent(new CustomEvent("redrawn", { bubbles: true }));
    if (back) back();
    old.scrollLeft = left; // which the focus may have moved
  }

  function show(html) {
    const doc = new DOMParser().parseFromString(html, "text/html");
    const h1 = doc.querySelector("h1");
    if (h1) document.title = h1.textContent + " · " + document.title.split(" · ").slice(1).join(" · ");
    doc.querySelectorAll("[data-part]").forEach((fresh) => {
      const name = fresh.dataset.part, old = part(name);
      if (!old || shown[name] === fresh.outerHTML) return;
      shown[name] = fresh.outerHTML;
      put(old, fresh);
    });
  }

  // true says that what is shown is true at a moment of the salon.
  function isTrue(at) {
    const ms = Date.parse(at);
    if (isNaN(ms)) return;
    ahead = ms - Date.now();
    heard = clock(ms);
    const e = document.getElementById("asof");
    if (e) e.textContent = "as of " + heard;
    move();
  }

  let due = 0;
  let busy = false, again = false, failed = 0;
  async function fetchParts() {
    if (busy) { again = true; return; }
    busy = true;
    again = false;
    try {
      const a = await fetch(body.dataset.partFrom, { headers: { "If-None-Match": tag }, cache: "no-store", redirect: "manual", signal: AbortSignal.timeout(15000) });
      if (a.status === 401 || a.type === "opaqueredirect") return signedOut();
      if (a.status !== 200 && a.status !== 304) throw new Error("status " + a.status);
      if (a.status === 200) {
        show(await a.text());
        tag = a.headers.get("ETag") || "";
      }
      isTrue(a.headers.get("As-Of"));
      failed = 0;
      found();
    } catch {
      gone();
      clearTimeout(due);
      due = setTimeout(fetchParts, Math.min(30000, 1000 * 2 ** failed++));
    } finally {
      busy = false;
      if (again && !failed) soon();
    }
  }
  function soon() {
    clearTimeout(due);
    due = setTimeout(fetchParts, 80);
  }

  // The connection.
  let source = null, tries = 0, retry = 0, ended = false, last = Date.now();
  function say(text) { if (lost.textContent !== text) lost.textContent = text; }
  function found() { if (source && source.readyState === 1) { tries = 0; say(""); } }
  function gone() { if (!ended) say("No connection since " + heard + ". What you see may be old."); }
  function signedOut() {
    ended = true;
    if (source) source.close();
    say("You are signed out. ");
    const a = document.createElement("a");
    a.href = location.href;
    a.textContent = "Sign in to go on";
    lost.append(a);
  }
  function later() {
    if (source) source.close();
    source = null;
    if (ended) return;
    clearTimeout(retry);
    const wait = Math.min(30000, 1000 * 2 ** tries) * (0.7 + 0.6 * Math.random());
    if (tries > 0) gone();
    tries++;
    retry = setTimeout(listen, wait);
  }
  function mine(dates) {
    const day = part("drawing") && part("drawing").dataset.day;
    return !dates || dates.length === 0 || !day || dates.includes(day);
  }
  // A page that nobody sees listens to nothing: browsers give all pages of a host six
  // connections together. It hears what it missed when it is shown again.
  const hiddenFor = 5000;
  let hiding = 0;
  document.addEventListener("visibilitychange", () => {
    clearTimeout(hiding);
    if (ended) return;
    if (document.hidden) {
      hiding = setTimeout(() => { clearTimeout(retry); if (source) source.close(); source = null; }, hiddenFor);
    } else if (!source) {
      tries = 0;
      listen();
    }
  });
  function listen() {
    clearTimeout(retry);
    if (document.hidden) return;
    const s = source = new EventSource(body.dataset.events);
    s.onopen = () => { last = Date.now(); fetchParts(); }; // what happened since the page was made
    s.onerror = () => { if (s === source) { later(); fetchParts(); } };
    const on = (kind, f) => s.addEventListener(kind, (e) => { last = Date.now(); f(e); });
    on("ping", (e) => { if (!busy && !lost.textContent) isTrue(JSON.parse(e.data)); });
    on("everything", soon);
    for (const kind of ["message", "waiting", "call"]) on(kind, soon);
    for (const kind of ["visit", "day"]) on(kind, (e) => { if (mine(JSON.parse(e.data).dates)) soon(); });
  }
  addEventListener("online", () => { if (!ended) { tries = 0; later(); } });
  addEventListener("offline", () => { if (!ended) { gone(); later(); } });
  addEventListener("pagehide", () => { clearTimeout(retry); if (source) source.close(); });
  addEventListener("pageshow", (e) => { if (e.persisted && !ended) listen(); });

  // The line of the present moment.
  function move() {
    const box = part("drawing"), d = box && box.dataset;
    if (!d || !d.now) return;
    const now = Date.now() + ahead;
    const dx = (now - d.now) / (d.to - d.from) * (d.right - d.left);
    box.querySelectorAll(".nowline, .nowtext").forEach((e) => {
      if (e.closest(".legends")) return;
      e.setAttribute("transform", "translate(" + dx.toFixed(1) + ")");
      if (e.tagName === "text") e.textContent = "now " + clock(now);
    });
  }
  let minute = 0;
  setInterval(() => {
    move();
    const m = Math.floor((Date.now() + ahead) / 60000);
    if (m !== minute && !document.hidden && part("drawing") && part("drawing").dataset.now) fetchParts(); // what time alone changes
    minute = m;
    if (source && Date.now() - last > 35000) { gone(); later(); } // a connection that went silent
  }, 5000);
  minute = Math.floor(Date.now() / 60000);
  if (part("drawing") && part("drawing").dataset.now) ahead = part("drawing").dataset.now - Date.now();
  minute = Math.floor((Date.now() + ahead) / 60000);
  listen();

  // Quick answers of the search for clients.
  const find = document.querySelector("form.find[data-quick]");
  if (find) {
    const field = find.querySelector("input"), quick = document.getElementById("quick");
    let asked = 0, wait = 0;
    field.addEventListener("input", () => {
      clearTimeout(wait);
      const q = field.value.trim(), n = ++asked;
      if (q.length < 2) { quick.replaceChildren(); return; }
      wait = setTimeout(async () => {
        try {
          const a = await fetch(find.dataset.quick, { method: "POST", body: new URLSearchParams({ q }), redirect: "manual" });
          if (a.status !== 200 || n !== asked) return;
          const doc = new DOMParser().parseFromString(await a.text(), "text/html");
          if (n === asked) quick.replaceChildren(...doc.body.childNodes);
        } catch { /* the form itself still works */ }
      }, 200);
    });
    field.addEventListener("keydown", (e) => {
      if (e.key === "Escape" && quick.firstChild) { quick.replaceChildren(); e.preventDefault(); }
      if (e.key === "ArrowDown") { const a = quick.querySelector("a"); if (a) { a.focus(); e.preventDefault(); } }
    });
  }
})();
