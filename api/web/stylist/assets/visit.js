// Runs a visit from a phone: forms become taps that are kept until they are sent,
// and what is on the page follows them at once, with or without a network.
(() => {
  "use strict";
  const $ = (id) => document.getElementById(id);
  if (!$("run") || !window.queue || !window.watching) return;
  const { queue, watching } = window;
  const minute = 60000;
  const dead = 2000; // how long a second press does nothing
  const undoFor = 5000; // how long the end of a visit can be taken back before it is sent
  const quiet = 1000; // how long after “Rinse now” nothing of the visit can be pressed
  const settles = 5000; // how long after it the page may still change under its words
  let model, taps = [], settled = [], written = new Map(), drawing = 0, dropped = new Set(), pressed = 0, rinsing = -settles, toLook = false, alarmed = "", rung = 0, lock = null, locking = false, tone = null;

  const read = () => {
    model = JSON.parse($("run").dataset.model);
    settled = [];
    written = new Map([$("state"), ...document.querySelectorAll("[data-real]")].filter(Boolean).map((e) => [e, e.textContent]));
    localStorage.setItem("my-day-zone", model.zone);
  };
  const clock = queue.clock;
  const show = (id, yes) => { if ($(id)) $(id).hidden = !yes; };
  const text = (id, s) => { const e = $(id); if (e && e.textContent !== s) e.textContent = s; };
  const left = (ms) => {
    const s = Math.max(0, Math.round(Math.abs(ms) / 1000));
    return Math.floor(s / 60) + ":" + String(s % 60).padStart(2, "0");
  };

  // today is the instant of a clock time on the day of now, as far as the page
  // has to show it; the server works it out anew.
  const today = (hhmm) => {
    const [h, m] = hhmm.split(":").map(Number);
    const [nh, nm] = clock(queue.now()).split(":").map(Number);
    const now = queue.now();
    return now - (now % minute) + (h * 60 + m - nh * 60 - nm) * minute;
  };

  const ring = (often) => {
    if (localStorage.getItem("my-day-quiet")) return;
    if (navigator.vibrate && (!navigator.userActivation || navigator.userActivation.hasBeenActive)) navigator.vibrate([300, 120, 300, 120, 300]);
    if (!tone || tone.state !== "running") return;
    for (let i = 0; i < (often || 2); i++) {
      const o = tone.createOscillator(), g = tone.createGain(), at = tone.currentTime + i * 0.35;
      o.frequency.value = 880;
      g.gain.setValueAtTime(0.3, at);
      g.gain.exponentialRampToValueAtTime(0.001, at + 0.3);
      o.connect(g).connect(tone.destination);
      o.start(at);
      o.stop(at + 0.3);
    }
  };
  // wake keeps the screen on while a client is here.
  const wake = async () => {
    const wanted = () => state().state === "under_way" || state().state === "arrived";
    if (!wanted() && lock) { lock.release(); lock = null; }
    if (!wanted() || lock || locking || document.hidden || !navigator.wakeLock) return;
    locking = true;
    try {
      const got = await navigator.wakeLock.request("screen");
      got.addEventListener("release", () => { if (lock === got) lock = null; });
      lock = got;
    } catch { /* the battery is low, or the browser does not let it */ } finally {
      locking = false;
    }
    if (lock && !wanted()) wake(); // it has ended meanwhile
  };

  const state = () => watching.fold(model, [...settled, ...taps]);

  const drawClock = (m, now) => {
    const w = watching.watch(m, now);
    show("clock", w);
    show("rinsebar", w && !m.rinsed || w && m.rinsed && w.first > m.rinsed);
    const alarm = watching.alarm(w, now, clock);
    const key = w ? w.state + (alarm ? "!" : "") + w.next : "";
    if (alarm !== ($("alert").textContent || "")) {
      $("alert").replaceChildren(...(alarm ? [Object.assign(document.createElement("p"), { className: "grave", textContent: alarm })] : []));
    }
    if (alarm && key !== alarmed) { ring(2); rung = now; }
    else if (alarm && (w.state === "look_late" || w.state === "at_maximum" || w.state === "too_weak") && now - rung > 20000) { ring(4); rung = now; }
    alarmed = key;
    const name = document.querySelector("h1").textContent;
    document.title = w ? w.minutes + " min · " + name : name;
    if (!w) return;
    show("looks", w.product === "solution" && w.judged && w.state !== "ready" && w.state !== "too_weak" && w.state !== "at_maximum");
    text("clock-title", w.product === "neutralizer" ? "Neutralizer is on" : "Solution is on");
    text("check", w.next ? clock(w.next) : "");
    let words = "";
    if (w.product === "neutralizer") words = w.next ? "rinse, not before" : "";
    else if (w.state === "ready") words = "ready, rinse no later than " + clock(w.latest);
    else if (w.max) words = "rinse, at the maximum, ready or not";
    else if (w.next) words = "check, no later than " + clock(w.latest);
    text("check-words", words);
    const to = w.next - now;
    text("left", !w.next ? "" : to > 0 ? "in " + left(to) : w.product === "neutralizer" ? "" : left(to) + " over");
    text("since", "Product on first section since " + clock(w.first) + ": " + w.minutes + " min." + (w.off ? " Off by " + clock(w.off) + " at the latest." : ""));
  };

  // going is the step that goes on: the one that was noted last or, once its
  // time is over, what comes after it by the plan and needs no word.
  const going = (m, now) => {
    let s = m.steps.find((x) => x.start && !x.end);
    if (!s) return null;
    let since = s.start, planned = false;
    for (;;) {
      const next = m.steps[s.step + 1], end = since + s.planned * minute;
      if (!next || next.tap || next.start || now < end) return { s, since, planned };
      s = next;
      since = end;
      planned = true;
    }
  };

  const drawGoing = (m, now) => {
    const g = going(m, now);
    const s = g && g.s;
    const on = s && (m.state === "under_way" || m.state === "arrived");
    show("going", on);
    document.querySelectorAll("[data-watch]").forEach((e) => { e.hidden = !on || Number(e.dataset.watch) !== s.step; });
    if (!on) return;
    text("going-title", s.label[0].toUpperCase() + s.label.slice(1));
    text("going-words", (g.planned ? "By the plan since (" + clock(g.since) + ")" : "Since " + clock(g.since)) + ", planned " + s.planned + " min.");
    const rest = g.since + s.planned * minute - now;
    text("going-left", rest >= 0 ? Math.ceil(rest / minute) + " min left" : Math.floor(-rest / minute) + " min over");
  };

  const drawNext = (m) => {
    const n = watching.next(m);
    document.querySelectorAll("[data-card]").forEach((e) => {
      e.hidden = e.dataset.card !== n.tap || (n.step >= 0 && Number(e.dataset.step) !== n.step);
    });
    show("over", n.tap === "none");
    show("next", true);
    show("later", m.state === "under_way" && n.tap !== "done");
    const words = { booked: "Booked", arrived: "Is here", under_way: "Under way", finished: "Finished" }[m.state];
    const ahead = taps.length + settled.length;
    if (!ahead) written.forEach((s, e) => { text2(e, s); }); // as the server says, also after a tap that did not count
    if (ahead && words) text("state", words);
    m.steps.forEach((s) => {
      const e = document.querySelector('[data-real="' + s.step + '"]');
      if (e && ahead && s.noted) e.textContent = clock(s.start) + "–" + (s.end ? clock(s.end) : "…");
    });
    show("rinsed", m.rinsed);
    $("bar").classList.toggle("quiet", quieted());
  };
  // What is drawn anew below the finger that pressed “Rinse now” is neither shown nor
  // taken for a moment: a frightened second press must not note another step.
  const quieted = () => performance.now() - rinsing < quiet;
  // look brings what to do now before the eyes and to a screen reader.
  const look = () => {
    if ($("rinsed").hidden) return;
    $("rinse-title").focus({ preventScroll: true });
    $("rinsed").scrollIntoView({ block: "start", behavior: "instant" });
  };

  const drawUndo = () => {
    const last = taps[taps.length - 1];
    show("undo-here", last);
    show("undo", !last && $("undo").querySelector("form"));
    if (last) text2($("undo-here").querySelector("button"), "Take back: “" + last.words + "” at " + clock(last.at));
  };
  const text2 = (e, s) => { if (e.textContent !== s) e.textContent = s; };

  const tick = () => {
    const m = state(), now = queue.now();
    drawClock(m, now);
    drawGoing(m, now);
  };
  const draw = async () => {
    const turn = ++drawing;
    const all = (await queue.list().catch(() => taps)).filter((t) => t.visit === model.visit);
    if (turn !== drawing) return; // something newer is drawn
    // What was sent counts on until the page has been read anew.
    for (const t of taps) if (!all.some((x) => x.id === t.id) && !dropped.has(t.id)) settled.push(t);
    taps = all.filter((t) => !t.refused);
    drawNext(state());
    drawUndo();
    if (toLook && !$("rinsed").hidden) { toLook = false; look(); }
    tick();
    wake();
  };

  document.addEventListener("submit", (e) => {
    const form = e.target;
    if (!form.classList.contains("tap")) return;
    e.preventDefault();
    const data = Object.fromEntries(new FormData(form));
    const now = Date.now();
    const rinse = data.kind === "rinse_now";
    if (!rinse && now - pressed < dead) return; // the second half of one press
    pressed = now;
    const words = (e.submitter ? e.submitter.textContent : data.kind).trim();
    const fields = { ...data };
    for (const name of ["key", "made", "after", "which"]) delete fields[name];
    const tap = { visit: model.visit, who: document.querySelector("h1").textContent.replace(/ \S+\.$/u, ""), fields, words, at: data.clock ? today(data.clock) : queue.now() };
    if (data.kind === "done") tap.hold = now + undoFor;
    if (rinse) {
      rinsing = performance.now();
      toLook = true;
      setTimeout(() => drawNext(state()), quiet);
    }
    queue.add(tap).catch(() => form.submit()); // a browser that keeps nothing sends it at once
    const open = form.closest("details");
    if (open) open.open = false;
  });
  document.addEventListener("click", (e) => {
    if (!quieted() || !e.target.closest("main")) return;
    e.preventDefault();
    e.stopImmediatePropagation();
  }, true);
  document.addEventListener("click", (e) => {
    if (e.target.closest("#undo-here button")) {
      const last = taps[taps.length - 1];
      if (!last) return;
      dropped.add(last.id);
      queue.drop(last.id).catch(() => false).then((could) => { if (!could) dropped.delete(last.id); });
    }
    if (e.target.id === "sound") {
      if (localStorage.getItem("my-day-quiet")) localStorage.removeItem("my-day-quiet");
      else localStorage.setItem("my-day-quiet", "yes");
      sound();
    }
  });
  const sound = () => {
    const quiet = Boolean(localStorage.getItem("my-day-quiet"));
    const b = $("sound");
    if (!b) return;
    b.hidden = false;
    b.setAttribute("aria-pressed", String(!quiet));
    b.textContent = quiet ? "Sound and vibration are off" : "Sound and vibration are on";
  };
  // A browser lets a page sound only after somebody has touched it.
  const unlock = () => {
    tone = tone || (window.AudioContext ? new AudioContext() : null);
    if (tone && tone.state === "suspended") tone.resume();
  };
  addEventListener("pointerdown", unlock, { passive: true });
  addEventListener("keydown", unlock);

  // refresh takes what the server says now into the page, unless somebody types.
  let loading = false;
  const refresh = async () => {
    const typing = document.activeElement && document.activeElement.matches("input, textarea, select");
    if (loading || typing || document.hidden) return;
    loading = true;
    try {
      const r = await fetch(location.pathname, { headers: { Accept: "text/html" }, redirect: "manual", credentials: "same-origin" });
      if (!r.ok) return;
      const at = Date.now();
      const doc = new DOMParser().parseFromString(await r.text(), "text/html");
      const main = doc.querySelector("main"), made = doc.getElementById("page");
      if (!doc.getElementById("run") || (await queue.list()).some((t) => t.visit === model.visit && !t.refused)) return;
      const opened = [...document.querySelectorAll("details")].map((d) => d.open);
      queue.tell(Number(made.dataset.made), at);
      const box = $("outbox");
      document.querySelector("main").replaceChildren(...main.childNodes);
      $("outbox").replaceWith(box); // its words have just been read out
      document.querySelector("header").replaceChildren(...doc.querySelector("header").childNodes);
      const now = [...document.querySelectorAll("details")];
      if (now.length === opened.length) now.forEach((d, i) => { d.open = opened[i]; });
      read();
      sound();
      await draw();
      if (performance.now() - rinsing < settles) look();
      if (window.keep) window.keep();
    } catch { /* without a network the page goes on with what it knows */ } finally {
      loading = false;
    }
  };
  document.addEventListener("queue", (e) => {
    draw().then(() => { if (e.detail.sent || e.detail.refused) refresh(); });
  });
  document.addEventListener("visibilitychange", () => {
    if (document.hidden) return;
    tick();
    wake();
    refresh();
  });
  setInterval(refresh, 60000);
  setInterval(tick, 1000);
  read();
  sound();
  draw();
})();
