// The board is one stop for the Tab key; arrow keys walk along a line and from
// line to line. Without this script every part is a stop of its own. The drawing
// may be put in again while the page is open.
(() => {
  const box = document.querySelector(".drawing");
  if (!box) return;
  let svg, lines = [], all = [], names = [], stop;
  const middle = (a) => {
    const r = a.querySelector(".hit").getBoundingClientRect();
    return r.left + r.width / 2;
  };
  const nearest = (line, x) => line.reduce((p, a) => Math.abs(middle(a) - x) < Math.abs(middle(p) - x) ? a : p);

  const setStop = (a) => {
    if (stop) stop.setAttribute("tabindex", "-1");
    stop = a;
    a.setAttribute("tabindex", "0");
  };

  // Names stay in view and must not cover what has the focus.
  const keepNames = () => {
    const width = svg ? svg.getBoundingClientRect().width : 0;
    if (!width) return; // put away in favour of the list
    const units = svg.viewBox.baseVal.width / width;
    names.forEach((n) => n.setAttribute("transform", "translate(" + box.scrollLeft * units + ")"));
  };
  box.addEventListener("scroll", keepNames, { passive: true });
  addEventListener("resize", keepNames);
  const uncover = (a) => {
    const r = a.querySelector(".hit").getBoundingClientRect();
    const b = box.getBoundingClientRect();
    const margin = b.left + 150 * svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;
    if (r.left < margin) box.scrollLeft -= margin - r.left;
    else if (r.right > b.right - 16) box.scrollLeft += Math.min(r.right - b.right + 16, r.left - margin);
  };

  const mark = (a, on) => all.forEach((o) => {
    if (o.dataset.v === a.dataset.v) o.classList.toggle("same", on);
  });
  const setUp = () => {
    svg = box.querySelector("svg"); // of several sheets, all of one width
    names = box.querySelectorAll(".who");
    lines = [...box.querySelectorAll(".person, .station")].map((g) => [...g.querySelectorAll("a")]).filter((l) => l.length);
    all = lines.flat();
    stop = undefined;
    all.forEach((a) => a.setAttribute("tabindex", "-1"));
    if (all.length) setStop(all[0]);
    all.forEach((a) => {
      a.addEventListener("focus", () => { setStop(a); mark(a, true); uncover(a); });
      a.addEventListener("blur", () => mark(a, false));
      a.addEventListener("pointerenter", () => mark(a, true));
      a.addEventListener("pointerleave", () => mark(a, a === document.activeElement));
    });
    keepNames();
  };
  setUp();
  box.addEventListener("redrawn", setUp);

  box.addEventListener("keydown", (e) => {
    if (e.altKey || e.ctrlKey || e.metaKey) return;
    const at = e.target.closest("a");
    const row = lines.findIndex((l) => l.includes(at));
    if (row < 0) return;
    const line = lines[row];
    const i = line.indexOf(at);
    const to = {
      ArrowRight: () => line[i + 1],
      ArrowLeft: () => line[i - 1],
      ArrowDown: () => lines[row + 1] && nearest(lines[row + 1], middle(at)),
      ArrowUp: () => lines[row - 1] && nearest(lines[row - 1], middle(at)),
      Home: () => line[0],
      End: () => line[line.length - 1],
    }[e.key];
    if (!to) return;
    e.preventDefault();
    const next = to();
    if (next) next.focus({ preventScroll: false });
  });
})();
