// What there is to do while product is on, worked out from absolute times and the
// same figures as the server's, so that it goes on without a network and after a
// sleep.
(() => {
  "use strict";
  const minute = 60000;

  // runs are the stretches of steps with product on the hair.
  const runs = (m) => {
    const out = [];
    for (let i = 0; i < m.steps.length; i++) {
      const product = m.steps[i].product;
      if (!product) continue;
      let last = i;
      while (last + 1 < m.steps.length && m.steps[last + 1].product === product) last++;
      const steps = m.steps.slice(i, last + 1);
      const first = steps.find((s) => s.start);
      if (first) {
        const after = m.steps[last + 1];
        const applied = steps.find((s) => !s.hands && s.start);
        let off = (after && after.start) || steps[steps.length - 1].end || m.finished || 0;
        const on = (t) => t >= first.start && (!off || t < off);
        if (m.rinsed && on(m.rinsed)) off = m.rinsed;
        out.push({ product, first: first.start, applied: applied ? applied.start : 0, off, judged: steps[0].judged,
          looks: m.looks.filter((l) => l.at >= first.start && (!off || l.at <= off)).sort((a, b) => a.at - b.at) });
      }
      i = last;
    }
    return out;
  };

  const watch = (m, now) => {
    const r = runs(m).find((x) => now >= x.first && (!x.off || now < x.off));
    if (!r) return null;
    const l = m.limits;
    const after = (t, n) => (n > 0 ? t + n * minute : 0);
    const w = { product: r.product, judged: r.judged, first: r.first, minutes: Math.floor((now - r.first) / minute), state: "working", next: 0, latest: 0, off: 0, warn: 0, max: false };
    if (r.product === "neutralizer") {
      if (r.applied) w.next = after(r.applied, l.neutralizer_least_minutes);
      if (w.next && now >= w.next) w.state = "worked_long";
      return w;
    }
    w.warn = after(r.first, l.warn_after_minutes);
    w.off = after(r.first, l.off_after_minutes);
    let due = after(r.first, l.first_look_minutes);
    const last = r.looks[r.looks.length - 1];
    if (last) {
      if (last.weak) w.state = "too_weak";
      else if (last.ready) w.state = "ready";
      due = last.weak || last.ready ? last.at : after(last.at, last.next || l.next_look_minutes);
    }
    if (!due) {
      if (w.off && now >= w.off) w.state = "at_maximum";
      return w;
    }
    const least = (t) => (w.off && w.off < t ? w.off : t);
    w.next = least(due);
    w.latest = least(due + l.look_grace_minutes * minute);
    w.max = Boolean(w.off) && due >= w.off;
    if (w.state === "too_weak") return w;
    if (w.off && now >= w.off) w.state = "at_maximum";
    else if (w.state === "ready") return w;
    else if (now > w.latest) w.state = "look_late";
    else if (now >= w.next) w.state = "look_due";
    return w;
  };

  // alarm says in words what cannot wait, "" for nothing.
  const alarm = (w, now, clock) => {
    if (!w) return "";
    switch (w.state) {
      case "too_weak": return "Too weak: stop, rinse now, and ask the licensed person.";
      case "at_maximum": return "Rinse now: product has been on for as long as it may.";
      case "ready": return "Ready: rinse now, no later than " + clock(w.latest) + ".";
      case "look_late": return "The check was due at " + clock(w.next) + ", no later than " + clock(w.latest) + ": check now.";
      case "look_due": return w.max ? "Rinse now, at the maximum, ready or not." : "Check now, no later than " + clock(w.latest) + ".";
    }
    if (w.warn && now >= w.warn) return "Product has been on for long: off by " + clock(w.off) + " at the latest.";
    return "";
  };

  // fold adds what was tapped and not sent yet.
  const fold = (m, taps) => {
    const out = structuredClone(m);
    for (const t of taps) {
      const f = t.fields;
      const i = Number(f.step);
      const step = out.steps[i];
      switch (f.kind) {
        case "arrive": out.state = "arrived"; break;
        case "start":
          step.start = t.at;
          step.noted = true;
          step.end = step.end > t.at ? step.end : 0;
          for (const s of out.steps.slice(0, i)) if (s.start && !s.end) s.end = t.at;
          out.state = "under_way";
          break;
        case "finish":
          step.end = t.at;
          step.start = step.start || t.at;
          out.state = "under_way";
          break;
        case "undo":
          if (step) {
            if (step.end) step.end = 0;
            else step.start = 0;
          }
          break;
        case "done": out.state = "finished"; out.finished = t.at; break;
        case "rinse_now": out.rinsed = t.at; break;
        case "undo_rinse_now": out.rinsed = 0; break;
        case "check": out.looks.push({ at: t.at, ready: false, weak: false, next: Number(f.next) || 0 }); break;
        case "check-ready": out.looks.push({ at: t.at, ready: true, weak: false, next: 0 }); break;
      }
    }
    return out;
  };

  // next is what is noted next, as the server says it.
  const next = (m) => {
    if (m.state === "booked") return { tap: "arrive", step: -1 };
    if (m.state !== "arrived" && m.state !== "under_way") return { tap: "none", step: -1 };
    let from = 0;
    m.steps.forEach((s, i) => { if (s.start) from = i + 1; });
    const s = m.steps.slice(from).find((x) => x.tap);
    return s ? { tap: s.tap, step: s.step } : { tap: "done", step: -1 };
  };

  window.watching = { runs, watch, alarm, fold, next };
})();
