// Signing out clears what this browser keeps, and with it what was tapped at the
// chair and has not been sent. So that is asked about first, twice, with a network
// or without. Where nothing waits nothing is asked.
(() => {
  "use strict";
  // What is kept for use without a network is that of one person: it goes as soon as
  // a page is somebody else's, or nobody's.
  const whois = document.querySelector(".whois[data-me]");
  const before = localStorage.getItem("my-day-me");
  if (before !== null && before !== (whois ? whois.dataset.me : "")) {
    localStorage.removeItem("my-day-me");
    if (window.caches) caches.delete("my-day-plan").catch(() => false);
  }

  const leaves = 'form[action^="/sign-out"]';
  const use = (mode, f) => new Promise((done) => {
    if (!window.indexedDB) { done([]); return; }
    const r = indexedDB.open("my-day", 1);
    r.onupgradeneeded = () => r.transaction.abort(); // nothing was ever tapped here
    r.onerror = (e) => { e.preventDefault(); done([]); };
    r.onsuccess = () => {
      const t = r.result.transaction("taps", mode);
      const asked = f(t.objectStore("taps"));
      const over = (list) => { r.result.close(); done(list); };
      t.oncomplete = () => over(asked.result || []);
      t.onerror = t.onabort = () => over([]);
    };
  }).catch(() => []);
  const waiting = () => use("readonly", (s) => s.getAll());
  const forget = () => use("readwrite", (s) => s.clear());

  const taps = (n) => (n === 1 ? "1 tap" : n + " taps");
  // whose says of which visits they are: of somebody else's clients no name is said.
  const whose = (list) => {
    const page = document.getElementById("page");
    const me = (page || whois || { dataset: {} }).dataset.me;
    const of = new Map();
    for (const t of list) {
      const name = t.me !== me ? "somebody else who signs in here" : t.who ? t.who + "’s visit" : "a visit";
      of.set(name, (of.get(name) || 0) + 1);
    }
    const words = [...of].map(([name, n]) => taps(n) + " of " + name);
    return words.length < 2 ? words.join("") : words.slice(0, -1).join(", ") + " and " + words[words.length - 1];
  };

  // ask shows a question and gives the number of the button, 0 for staying.
  const ask = (title, text, ...buttons) => new Promise((answer) => {
    const box = document.createElement("dialog");
    const part = (name, words) => Object.assign(document.createElement(name), { textContent: words });
    const h = part("h2", title);
    h.id = "signout-title";
    box.id = "signout";
    box.setAttribute("aria-labelledby", h.id);
    const acts = part("p", "");
    acts.className = "acts";
    let chosen = 0;
    buttons.forEach((words, i) => {
      const b = Object.assign(part("button", words), { type: "button" });
      b.addEventListener("click", () => { chosen = i; box.close(); });
      acts.append(b, " ");
    });
    box.append(h, part("p", text), acts);
    box.addEventListener("close", () => { box.remove(); answer(chosen); });
    document.body.append(box);
    box.showModal();
  });
  const stay = "Stay signed in";

  // leave signs out, and says so where it cannot.
  const leave = async (form, thrown) => {
    let r;
    try {
      r = await fetch(form.action, { method: "POST", credentials: "same-origin", cache: "no-store" });
    } catch {
      await ask("You are still signed in", "There is no network, and signing out needs one. Nothing was thrown away.", stay);
      return;
    }
    if (!r.ok) { form.submit(); return; }
    if (thrown) await forget();
    document.dispatchEvent(new Event("signedout"));
    location.assign(r.url);
  };
  const first = async (form) => {
    const list = await waiting();
    if (list.length) {
      const has = list.length === 1 ? " has not been sent yet." : " have not been sent yet.";
      if (!await ask("Not sent yet", whose(list) + has + " Signing out throws " + (list.length === 1 ? "it" : "them") + " away.", stay, "Sign out all the same")) return;
      if (!await ask("Throw away " + taps(list.length) + "?", "What was noted with " + (list.length === 1 ? "it" : "them") + " is then lost for the record card and the check clock.",
        stay, "Throw away and sign out")) return;
    }
    await leave(form, list.length > 0);
  };
  let asking = false;
  document.addEventListener("submit", async (e) => {
    const form = e.target;
    if (!form.matches(leaves)) return;
    e.preventDefault();
    if (asking) return;
    asking = true;
    await first(form);
    asking = false;
    if (window.queue) window.queue.send();
  });
})();
