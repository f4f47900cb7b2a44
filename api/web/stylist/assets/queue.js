// Keeps what was tapped until the server has it: in order, with the time of the
// tap and a key, so that sending it twice has one effect. A tap that the server
// refuses stays until somebody decides about it.
(() => {
  "use strict";
  const page = () => document.getElementById("page");
  if (!page()) return;
  const me = page().dataset.me;
  const kept = "kept" in page().dataset;
  localStorage.setItem("my-day-zone", page().dataset.zone); // times are the salon's, wherever the phone is

  // The clock of the server. A copy that was kept for use without a network says
  // nothing of it; then what was found last holds.
  let offset = Number(localStorage.getItem("my-day-offset") || 0);
  const tell = (made, at) => {
    offset = made - at;
    localStorage.setItem("my-day-offset", String(offset));
  };
  const nav = performance.getEntriesByType("navigation")[0];
  if (!kept) tell(Number(page().dataset.made), performance.timeOrigin + (nav && nav.responseStart ? nav.responseStart : performance.now()));
  const now = () => Date.now() + offset;

  // A browser closes what a site keeps below an open page, as it does when somebody signs
  // out in another tab; then it is opened again.
  let base = null;
  const open = () => {
    base = base || new Promise((found, lost) => {
      const r = indexedDB.open("my-day", 1);
      r.onupgradeneeded = () => r.result.createObjectStore("taps", { keyPath: "id", autoIncrement: true });
      r.onsuccess = () => found(r.result);
      r.onerror = () => lost(r.error);
    });
    return base;
  };
  const within = (mode, f) => open().then((db) => new Promise((done, failed) => {
    const t = db.transaction("taps", mode, mode === "readwrite" ? { durability: "strict" } : undefined);
    const r = f(t.objectStore("taps"));
    t.oncomplete = () => done(r.result);
    t.onerror = t.onabort = () => failed(t.error);
  }));
  // act fails where the browser keeps nothing; of what failed nothing was written. What is
  // opened while the browser is still at throwing away is closed once more.
  const act = async (mode, f) => {
    for (let pause = 0; ; pause += 50) {
      try {
        return await within(mode, f);
      } catch (e) {
        base = null;
        if (pause > 100) throw e;
        await new Promise((done) => setTimeout(done, pause));
      }
    }
  };
  const list = () => act("readonly", (s) => s.getAll());
  const changed = (detail) => document.dispatchEvent(new CustomEvent("queue", { detail: detail || {} }));
  const random = () => [...crypto.getRandomValues(new Uint8Array(16))].map((b) => b.toString(16).padStart(2, "0")).join("");

  let sending = 0; // id of the tap that is on its way
  let signIn = false;
  let away = false;
  let said = "";
  let again = 0;
  let wait = 2000;

  // add keeps a tap until the server has it, and fails where the browser keeps nothing.
  const add = async (tap) => {
    tap.me = me;
    tap.key = random();
    const id = await act("readwrite", (s) => s.add(tap));
    changed();
    send();
    return id;
  };
  // drop forgets a tap that has not been sent, and says whether it could.
  const drop = async (id) => {
    if (id === sending) return false;
    await act("readwrite", (s) => s.delete(id));
    changed();
    return true;
  };
  // orphan says whether a tap is of a sign-in that is over and was nobody's by name, or
  // was made when all who have no place on the rota had one queue: only who made it
  // knows whose it is.
  const orphan = (tap) => tap.me !== me && (!tap.me || tap.me.startsWith("session:"));
  // same says whether two taps are about the same thing, which happens once: what was
  // refused of it is settled when it is taken.
  const once = ["arrive", "start", "finish", "done", "rinse_now"];
  const same = (a, b) => a.me === b.me && a.visit === b.visit && a.fields.kind === b.fields.kind &&
    (a.fields.step || "") === (b.fields.step || "") && once.includes(a.fields.kind);
  const put = async (tap) => {
    await act("readwrite", (s) => s.put(tap));
    changed();
  };

  const post = async (tap) => {
    const stop = new AbortController();
    const timer = setTimeout(() => stop.abort(), 15000);
    try {
      return await fetch("/my-day/taps", {
        method: "POST", credentials: "same-origin", redirect: "manual", keepalive: true, signal: stop.signal,
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify({ visit: tap.visit, me: tap.me || "", key: tap.key, at: new Date(tap.at).toISOString(), fields: tap.fields }),
      });
    } finally {
      clearTimeout(timer);
    }
  };

  const later = () => {
    clearTimeout(again);
    again = setTimeout(() => send(), wait);
    wait = Math.min(wait * 2, 30000);
  };

  // one sends one tap and says whether the next may follow.
  const one = async (tap) => {
    sending = tap.id;
    try {
      return await deliver(tap);
    } finally {
      sending = 0;
    }
  };
  const deliver = async (tap) => {
    let r;
    try {
      r = await post(tap);
    } catch {
      away = true;
      later();
      return "stop";
    }
    const type = r.headers.get("Content-Type") || "";
    if (r.type === "opaqueredirect" || r.status === 401 || !type.includes("json")) {
      if (r.status >= 500) {
        away = true;
        later();
        return "stop";
      }
      signIn = true;
      document.dispatchEvent(new Event("signedout"));
      return "stop";
    }
    away = r.status >= 500;
    signIn = false;
    const answer = await r.json().catch(() => ({ later: true }));
    if (answer.later || r.status === 429 || r.status >= 500) { // it was not judged
      later();
      return "stop";
    }
    wait = 2000;
    if (r.ok) {
      said = answer.words;
      const over = (await list()).filter((t) => t.refused && same(t, tap)).map((t) => t.id);
      await act("readwrite", (s) => { over.forEach((id) => s.delete(id)); return s.delete(tap.id); });
      return "sent";
    }
    tap.refused = answer.refused || "The server did not take it.";
    tap.already = Boolean(answer.already);
    await act("readwrite", (s) => s.put(tap));
    return "refused";
  };

  let running = null;
  const run = async (all) => {
    let sent = 0, refused = 0;
    for (;;) {
      const tap = (await list()).find((t) => t.me === me && !t.refused);
      if (!tap) break;
      const rest = (tap.hold || 0) - Date.now();
      if (rest > 0 && !all) {
        clearTimeout(again);
        again = setTimeout(() => send(), rest);
        break;
      }
      const how = await one(tap);
      if (how === "sent") sent++;
      if (how === "refused") refused++;
      changed();
      if (how === "stop") break;
    }
    changed({ sent, refused });
  };
  const alone = (f) => (navigator.locks ? navigator.locks.request("my-day-send", f) : f());
  // send sends what waits, in order; all also what could still be taken back.
  const send = (all) => {
    running = (running || Promise.resolve()).then(() => alone(() => run(all))).catch(() => later());
    return running;
  };

  const el = (name, text, more) => Object.assign(document.createElement(name), { textContent: text }, more || {});
  const button = (text, f) => {
    const b = el("button", text, { type: "button", className: "small" });
    b.addEventListener("click", f);
    return b;
  };
  const clock = (ms) => new Intl.DateTimeFormat("en-GB", { hour: "2-digit", minute: "2-digit", hourCycle: "h23", timeZone: localStorage.getItem("my-day-zone") || undefined }).format(ms);

  const draw = async () => {
    const box = document.getElementById("outbox");
    if (!box) return;
    const taps = await list().catch(() => []);
    const mine = taps.filter((t) => t.me === me);
    const waiting = mine.filter((t) => !t.refused);
    const refused = mine.filter((t) => t.refused);
    const orphans = taps.filter(orphan);
    const strange = taps.filter((t) => t.me !== me && !orphan(t));
    const others = strange.length;
    const parts = [];
    if (kept || away) {
      const p = el("p", "No connection" + (kept ? ". This is as of " + clock(Number(page().dataset.made)) + ". " : "."));
      if (kept) p.append(el("a", "Try again", { href: location.pathname, className: "way" }));
      parts.push(p);
    }
    if (waiting.length) parts.push(el("p", waiting.length === 1 ? "1 tap waits to be sent." : waiting.length + " taps wait to be sent.", { className: "waits" }));
    if (signIn) {
      const p = el("p", "You are not signed in any more. ");
      p.append(el("a", "Sign in", { href: location.pathname, className: "way" }), ", then they are sent.");
      parts.push(p);
    }
    if (!waiting.length && said && !refused.length) parts.push(el("p", said, { className: "said" }));
    if (refused.length) {
      const ul = el("ul", "");
      for (const t of refused) {
        const li = el("li", "");
        const acts = el("div", "", { className: "acts" });
        li.append(el("p", "“" + t.words + "” at " + clock(t.at) + " was not taken: " + t.refused));
        if (t.already) {
          acts.append(button("Correct it to " + clock(t.at), () => {
            delete t.refused;
            t.fields.correct = "true";
            t.key = random();
            put(t).then(() => send(), draw);
          }));
        } else {
          acts.append(button("Try again", () => {
            delete t.refused;
            put(t).then(() => send(), draw);
          }));
        }
        acts.append(button("Leave it out", () => drop(t.id).catch(draw)));
        li.append(acts);
        ul.append(li);
      }
      parts.push(ul);
    }
    if (others) {
      const p = el("p", (others === 1 ? "1 tap of somebody else waits" : others + " taps of somebody else wait") + " on this phone, until that person signs in here. ");
      p.append(button("Throw away", () => Promise.all(strange.map((t) => drop(t.id))).catch(draw)));
      parts.push(p);
    }
    if (orphans.length && !kept) {
      const one = orphans.length === 1;
      const p = el("p", (one ? "1 tap waits" : orphans.length + " taps wait") + " on this phone of which nobody knows any more who made " + (one ? "it" : "them") + ": " +
        orphans.map((t) => "“" + t.words + "” at " + clock(t.at)).join(", ") + ". ");
      p.append(button(one ? "It is mine: send it" : "They are mine: send them", () => Promise.all(orphans.map((t) => put({ ...t, me }))).then(() => send(), draw)), " ",
        button("Throw away", () => Promise.all(orphans.map((t) => drop(t.id))).catch(draw)));
      parts.push(p);
    }
    box.replaceChildren(...parts);
    box.hidden = !parts.length;
  };
  document.addEventListener("queue", draw);

  window.queue = { add, drop, list, send, now, tell, draw, kept, clock, sending: () => sending };
  addEventListener("online", () => send());
  document.addEventListener("visibilitychange", () => send(document.hidden));
  addEventListener("pagehide", () => send(true));
  draw();
  send();
})();
