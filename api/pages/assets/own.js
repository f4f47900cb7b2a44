// Counts down what is left of the hours after a visit. Without this script the
// time itself stands there.
(() => {
  const main = document.querySelector("main[data-now]");
  const all = [...document.querySelectorAll("[data-until]")];
  if (!main || all.length === 0) return;
  // From the server's clock on: the device's own may be wrong.
  const made = Date.parse(main.dataset.now);
  const loaded = Date.now();
  const say = (n, unit) => new Intl.NumberFormat(document.documentElement.lang, { style: "unit", unit, unitDisplay: "long" }).format(n);
  const left = (minutes) => {
    const parts = [];
    const days = Math.floor(minutes / 1440);
    const hours = Math.floor(minutes / 60) % 24;
    if (days > 0) parts.push(say(days, "day"));
    if (hours > 0) parts.push(say(hours, "hour"));
    if (minutes % 60 > 0 || parts.length === 0) parts.push(say(minutes % 60, "minute"));
    return parts.join(" ");
  };
  const show = () => {
    const now = made + (Date.now() - loaded);
    for (const e of all) {
      const minutes = Math.ceil((Date.parse(e.dataset.until) - now) / 60000);
      const text = minutes > 0 ? e.dataset.left.replace("%", left(minutes)) : e.dataset.over;
      if (e.textContent !== text) e.textContent = text;
      e.hidden = false;
    }
  };
  show();
  setInterval(show, 5000);
})();
