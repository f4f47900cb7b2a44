// Single keys for the desk. They are off until somebody switches them on, can be
// changed, and never act while something is typed (WCAG 2.1.4). What is chosen is
// kept in this browser and says nothing about anybody.
(() => {
  const name = "chairblock-keys";
  const actions = [
    ["find", "Find a client", "/", "/clients"], ["book", "Book a visit", "n", "/book"], ["walkin", "Walked in", "w", "/#f-walk_service"],
    ["date", "Go to a date", "g", "/#f-date"], ["today", "Today", "t", "/"], ["before", "Day before", "b", ""], ["after", "Day after", "a", ""],
    ["todo", "To do", "d", "/to-do"], ["undo", "Undo what was done last", "u", ""], ["help", "Show the keys", "?", ""],
  ];
  const set = { on: false, keys: {} };
  for (const [id, , key] of actions) set.keys[id] = key;
  try {
    const kept = JSON.parse(localStorage.getItem(name)) || {};
    set.on = kept.on === true;
    for (const id in set.keys) {
      const k = kept.keys && kept.keys[id];
      if (typeof k === "string" && [...k].length <= 1) set.keys[id] = k;
    }
  } catch { /* nothing is kept here */ }
  const keep = () => { try { localStorage.setItem(name, JSON.stringify(set)); } catch { /* only for this page */ } };

  const make = (tag, props, ...inside) => {
    const e = Object.assign(document.createElement(tag), props);
    e.append(...inside);
    return e;
  };

  // The sheet: a dialog on every page, and in the page of its own.
  function fill(box, prefix) {
    const said = make("p", { className: "hint" });
    said.setAttribute("role", "status");
    const on = make("input", { type: "checkbox", id: prefix + "on", checked: set.on });
    on.addEventListener("change", () => {
      set.on = on.checked;
      keep();
      said.textContent = set.on ? "Single keys are on." : "Single keys are off.";
    });
    const rows = actions.map(([id, text]) => {
      const field = make("input", { type: "text", id: prefix + id, value: set.keys[id], autocomplete: "off", spellcheck: false, size: 2 });
      field.addEventListener("focus", () => field.select());
      field.addEventListener("input", () => {
        const k = [...field.value.trim()].pop() || "";
        const taken = k && actions.find(([o]) => o !== id && set.keys[o] === k);
        field.value = taken ? set.keys[id] : k;
        if (taken) { said.textContent = "“" + k + "” is taken: " + taken[1] + "."; return; }
        set.keys[id] = k;
        keep();
        said.textContent = k ? text + ": “" + k + "”." : text + " has no key now.";
      });
      return make("div", { className: "field" }, make("label", { htmlFor: field.id, textContent: text }), field);
    });
    const tick = make("label", { className: "tick", htmlFor: on.id }, on, "Single keys act");
    const arrows = make("p", { className: "hint", textContent: "On the drawing of the day Tab comes to one part; the arrow keys, Home and End walk to the others, and Enter opens a visit. Esc closes this sheet." });
    const usual = make("button", { type: "button", textContent: "Back to the usual keys" });
    usual.addEventListener("click", () => {
      for (const [id, , key] of actions) { set.keys[id] = key; document.getElementById(prefix + id).value = key; }
      keep();
      said.textContent = "These are the usual keys.";
    });
    box.replaceChildren(tick, said, make("div", { className: "fields keyfields" }, ...rows), make("p", {}, usual), arrows);
  }

  let sheet = null;
  function open() {
    if (!sheet) {
      sheet = make("dialog", { id: "keysheet" });
      sheet.setAttribute("aria-labelledby", "keysheet-title");
      const close = make("button", { type: "button", textContent: "Close" });
      close.addEventListener("click", () => sheet.close());
      const box = make("div", {});
      sheet.append(make("h2", { id: "keysheet-title", textContent: "Keys" }), box, close);
      document.body.append(sheet);
      fill(box, "key-");
    }
    if (!sheet.open) sheet.showModal();
  }
  document.addEventListener("click", (e) => {
    const a = e.target.closest && e.target.closest('[data-keys="open"]');
    if (!a || e.ctrlKey || e.metaKey || e.shiftKey) return;
    e.preventDefault();
    open();
  });
  const own = document.getElementById("keys-here");
  if (own) fill(own, "own-key-");

  const typing = (e) => e && (e.isContentEditable || /^(INPUT|TEXTAREA|SELECT)$/.test(e.tagName));
  function act(id, to) {
    if (id === "help") return open();
    const e = document.querySelector('[data-key="' + id + '"]') || (to.startsWith("/#") && document.querySelector(to.slice(1)));
    if (e && /^(INPUT|SELECT|TEXTAREA)$/.test(e.tagName)) { e.focus(); if (e.select) e.select(); return; }
    if (e && e.tagName === "A" && e.hash && e.pathname === location.pathname) {
      const at = document.querySelector(e.hash);
      if (at) { at.focus(); return; }
    }
    if (e) e.click();
    else if (to) location.assign(to);
  }
  document.addEventListener("keydown", (e) => {
    if (!set.on || e.ctrlKey || e.altKey || e.metaKey || e.repeat || e.isComposing || e.defaultPrevented) return;
    if (typing(e.target) || document.querySelector("dialog[open]") || e.key.length === 0) return;
    const hit = actions.find(([id]) => set.keys[id] !== "" && set.keys[id] === e.key);
    if (!hit) return;
    e.preventDefault();
    act(hit[0], hit[3]);
  });
  // A page that was opened for one of its fields.
  if (location.hash.startsWith("#f-")) {
    const at = document.getElementById(location.hash.slice(1));
    if (at) at.focus();
  }
})();
