// The booking page while somebody telephones: clients are found while a name is
// typed, the drawing of the hair follows its figures, and what is sent stays on the
// page until the answer is there, so that neither a network that fails nor a
// session that ends takes anything away. Nothing is kept in the browser: the desk's
// screen is everybody's. Without this script every step is a page of its own.
(() => {
  const form = () => document.querySelector("form.book");
  const say = (text) => { const p = document.getElementById("sending"); if (p) p.textContent = text; };
  const wait = (ms) => new Promise((done) => {
    const timer = setTimeout(done, ms);
    addEventListener("online", () => { clearTimeout(timer); done(); }, { once: true });
  });
  const post = (url, data, signal) => fetch(url, { method: "POST", body: data, signal, credentials: "same-origin", cache: "no-store" });
  const answers = (submitter) => {
    const f = form();
    const data = new URLSearchParams(new FormData(f));
    if (submitter && submitter.name) data.append(submitter.name, submitter.value);
    return data;
  };

  // What was typed and not booked is not left without a question.
  let typed = false;
  let leaving = false;
  document.addEventListener("input", (e) => { if (e.isTrusted && e.target.closest("form.book")) typed = true; });
  addEventListener("beforeunload", (e) => { if (typed && !leaving && form() && navigator.userActivation?.hasBeenActive) e.preventDefault(); });

  const show = (doc) => {
    document.title = doc.title;
    document.body.className = doc.body.className;
    for (const part of ["header.top", "main"]) {
      const now = document.querySelector(part);
      const next = doc.querySelector(part);
      if (now && next) now.replaceWith(document.importNode(next, true));
    }
    document.dispatchEvent(new Event("shown"));
    const first = document.querySelector("main [autofocus]");
    if (first) { first.focus(); first.scrollIntoView({ block: "start" }); }
  };

  // Whoever has to say who she is first goes through the pages that ask it, which
  // carry the form along.
  const asPage = (data) => {
    leaving = true;
    const f = document.createElement("form");
    f.method = "post";
    f.action = form().action;
    for (const [name, value] of data) {
      const i = document.createElement("input");
      i.type = "hidden";
      i.name = name;
      i.value = value;
      f.append(i);
    }
    document.body.append(f);
    f.submit();
  };

  // Sends a press until it is answered, or has been sent so often that somebody has to
  // say whether to go on. The press carries a key, so that it has one effect however
  // often it arrives.
  const most = 6;
  let sending = false;
  // giveUp gives the buttons back, with one that sends the same press again; a network
  // that comes back does so by itself.
  const giveUp = (trouble, submitter) => {
    sending = false;
    say(trouble + " Nothing is lost: what you typed is kept, and a press that did arrive is not carried out twice. ");
    const again = document.createElement("button");
    again.type = "button";
    again.textContent = "Try again";
    const p = document.getElementById("sending");
    const go = () => { if (p.contains(again) && !sending) send(submitter); };
    again.addEventListener("click", go);
    addEventListener("online", go, { once: true });
    if (p) { p.append(again); again.focus(); }
  };
  const send = async (submitter) => {
    const data = answers(submitter);
    const url = form().action;
    sending = true;
    let r = null;
    let text = "";
    for (let tries = 0; ; tries++) {
      let trouble = "No connection.";
      try {
        r = await post(url, data, AbortSignal.timeout(20000));
        text = await r.text();
        if (r.status < 500 && r.status !== 429) break;
        trouble = "The service cannot answer now.";
      } catch (e) { /* the network, which is tried again */ }
      if (tries + 1 >= most) { giveUp(trouble, submitter); return; }
      say(trouble + " Nothing is lost; trying again…");
      await wait(Math.min(1000 * 2 ** tries, 5000));
    }
    sending = false;
    if (r.redirected) { leaving = true; location.assign(r.url); return; }
    if (r.status === 401 || r.status === 403) { asPage(data); return; }
    const html = (r.headers.get("Content-Type") || "").startsWith("text/html");
    const doc = new DOMParser().parseFromString(html ? text : "", "text/html");
    if (html && (r.ok || doc.querySelector("form.book"))) { show(doc); return; }
    const over = doc.querySelector("main.message");
    if (over && form().dataset.step === "move" && [404, 409, 410].includes(r.status)) {
      // There is nothing to move any more: a page that still offers it would be wrong.
      document.title = doc.title;
      document.body.replaceWith(document.adoptNode(doc.body));
      over.tabIndex = -1;
      over.focus();
      return;
    }
    say((html ? doc.querySelector("main").textContent.trim() : text) + " Nothing is lost.");
  };
  document.addEventListener("submit", (e) => {
    if (!e.target.matches("form.book")) return;
    e.preventDefault();
    const byEnter = e.submitter && e.submitter.value === "next";
    if (byEnter && document.activeElement.id === "f-who" && document.activeElement.value.trim()) { goOn(); return; }
    if (sending) { say("Still waiting for the answer to the press before."); return; }
    send(e.submitter);
  });

  // What nobody who is signed in may do is said with the way on, which takes along
  // what was typed.
  const shut = (status) => {
    const at = document.getElementById("found");
    if (!at) return;
    const go = document.createElement("button");
    go.type = "button";
    go.textContent = status === 401 ? "Sign in" : "Say who you are";
    go.addEventListener("click", () => {
      const data = answers();
      data.append("do", "find");
      asPage(data);
    });
    at.replaceChildren(status === 401 ? "You are not signed in any more, so no client can be looked for. What you typed is kept: " :
      "This screen is read only until somebody says who she is, so no client can be looked for. What you typed is kept: ", go);
  };

  // Clients, while a name or number is typed. It is sent in the body: addresses are
  // noted in logs.
  let looking = null;
  let timer = 0;
  // look tells whether anybody could be looked for at all.
  const look = async () => {
    const who = document.getElementById("f-who");
    if (!who) return true;
    if (looking) looking.abort();
    looking = new AbortController();
    try {
      const r = await post("/book/clients", answers(), looking.signal);
      if (r.status === 401 || r.status === 403) { shut(r.status); return false; }
      if (!r.ok) return true;
      const doc = new DOMParser().parseFromString(await r.text(), "text/html");
      document.getElementById("found").textContent = doc.querySelector("p").textContent;
      document.getElementById("matches").replaceChildren(...document.importNode(doc.querySelector("div"), true).childNodes);
    } catch (e) { /* the button looks as well */ }
    return true;
  };
  const draw = async () => {
    const at = document.getElementById("hairdrawing");
    if (!at) return;
    try {
      const r = await post("/book/hair", answers());
      if (r.ok) at.innerHTML = await r.text();
    } catch (e) { /* drawn with the next step */ }
  };
  document.addEventListener("input", (e) => {
    clearTimeout(timer);
    if (e.target.id === "f-who") timer = setTimeout(look, 150);
    else if (e.target.closest(".hair")) timer = setTimeout(draw, 250);
  });
  const firstMatch = () => document.querySelector("#matches input[type=radio]");
  // Goes on from the search to whom it has found, or to who is new.
  const goOn = async () => {
    const who = document.activeElement;
    clearTimeout(timer);
    const could = await look();
    if (document.activeElement !== who) return; // somebody went on meanwhile
    if (!could) { document.querySelector("#found button").focus(); return; }
    const match = firstMatch();
    if (match) { match.checked = true; match.focus(); } else document.getElementById("f-first_name").focus();
  };
  document.addEventListener("keydown", (e) => {
    if (e.target.id !== "f-who" || e.key !== "ArrowDown") return;
    e.preventDefault();
    goOn();
  });
  // Nobody found: what was typed is who she is.
  document.addEventListener("focusin", (e) => {
    const who = document.getElementById("f-who");
    const name = document.getElementById("f-first_name");
    if (e.target !== name || !who || name.value || firstMatch()) return;
    const text = who.value.trim();
    const phone = document.getElementById("f-phone");
    const rest = document.getElementById("f-initial");
    if (/\d/.test(text)) { if (!phone.value) phone.value = text; return; }
    const words = text.split(/\s+/);
    name.value = words.shift() || "";
    if (!rest.value) rest.value = words.join(" ");
    name.select();
  });
})();
