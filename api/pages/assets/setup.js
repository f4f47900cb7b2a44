// Keeps what was typed into the other boxes of a page when one of them is saved. It
// stays in this tab until that page is shown again, and says what is not saved yet.
(() => {
  "use strict";
  const place = "typed-beside";
  const me = () => (document.querySelector(".whois[data-me]") || { dataset: { me: "" } }).dataset.me;
  const boxes = () => [...document.querySelectorAll('main form[method="post"]')];
  const controls = (form) => [...form.elements].filter((e) => e.name && !["hidden", "submit", "button", "file", "password"].includes(e.type) && e.matches("input, select, textarea"));
  const ticked = (e) => e.type === "checkbox" || e.type === "radio";
  const before = (e) => ([...e.options].find((o) => o.defaultSelected) || e.options[0] || {}).value;
  const changed = (e) => (ticked(e) ? e.checked !== e.defaultChecked : e.matches("select") ? e.value !== before(e) : e.value !== e.defaultValue);
  // What was refused stands in its box as if it had been there before.
  const refused = (form) => form.querySelector('[aria-invalid="true"]') !== null;

  document.addEventListener("submit", (ev) => {
    const list = boxes().filter((f) => f !== ev.target).flatMap((f) => controls(f).filter((e) => refused(f) || changed(e)));
    const kept = list.map((e) => [e.name, e.value, ticked(e) ? e.checked : null]);
    if (kept.length) sessionStorage.setItem(place, JSON.stringify({ at: location.pathname.split("/")[1], me: me(), kept }));
    else sessionStorage.removeItem(place);
  });

  const found = JSON.parse(sessionStorage.getItem(place) || "null");
  if (!found || found.at !== location.pathname.split("/")[1]) return;
  const open = new Set();
  const names = new Set();
  const all = boxes().flatMap(controls);
  for (const [name, value, checked] of found.me === me() ? found.kept : []) {
    const e = all.find((x) => x.name === name && (checked === null || x.value === value));
    if (!e) continue;
    open.add(name);
    if (checked === null) e.value = value;
    else e.checked = checked;
    if (!changed(e)) continue;
    const label = document.querySelector('label[for="' + CSS.escape(e.id) + '"]') || e.closest("label");
    names.add(label ? label.textContent.trim() : name);
    const fold = e.closest("details");
    if (fold) fold.open = true;
  }
  if (!open.size) return; // a page in between
  sessionStorage.removeItem(place);
  if (!names.size) return;
  const p = document.createElement("p");
  p.className = "done";
  p.setAttribute("role", "status");
  p.textContent = "Not saved yet, and still here: " + [...names].join(", ") + ".";
  const said = document.querySelector("main > .done, main > .summary");
  if (said) said.after(p);
  else document.querySelector("main").prepend(p);
})();
