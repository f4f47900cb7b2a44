// Keeps today's pages for use without a network: first names and steps only, until
// the day is over or somebody else signs in.
(() => {
  "use strict";
  const page = document.getElementById("page");
  if (!page || !("serviceWorker" in navigator) || !window.caches) return;
  const name = "my-day-plan";
  const drop = () => caches.delete(name).catch(() => false);
  let ready = Promise.resolve();
  if (localStorage.getItem("my-day-me") !== page.dataset.me || !("keeps" in page.dataset)) {
    ready = drop();
    localStorage.setItem("my-day-me", page.dataset.me);
  }
  navigator.serviceWorker.register("/my-day/sw.js", { scope: "/my-day/" })
    .then(() => navigator.serviceWorker.ready)
    // A worker that came up while this page was still loading has not taken it on.
    .then((r) => { if (!navigator.serviceWorker.controller) r.active.postMessage("take on"); }).catch(() => {});
  // Whoever signs out, or is found to be signed out, leaves nothing behind.
  document.addEventListener("signedout", drop);

  const one = async (box, path) => {
    const r = await fetch(path + "?kept=1", { credentials: "same-origin", redirect: "manual" });
    if (!r.ok) return;
    const text = await r.text();
    const doc = new DOMParser().parseFromString(text, "text/html").getElementById("page");
    if (!doc) return;
    const rest = Number(doc.dataset.ends) - Number(doc.dataset.made);
    await box.put(path, new Response(text, { headers: { "Content-Type": "text/html; charset=UTF-8", "Content-Security-Policy": r.headers.get("Content-Security-Policy") || "",
      "X-Kept-Until": String(Date.now() + rest) } }));
  };
  window.keep = async () => {
    const now = document.getElementById("page");
    if (!now || "kept" in now.dataset || !("keeps" in now.dataset)) return;
    try {
      await ready;
      const box = await caches.open(name);
      const ids = (now.dataset.keep || "").split(" ").filter(Boolean);
      const paths = ["/my-day/", ...ids.map((id) => "/my-day/visits/" + id)];
      for (const path of paths) await one(box, path);
      if (location.pathname === "/my-day/" && !location.search) {
        for (const r of await box.keys()) if (!paths.includes(new URL(r.url).pathname)) await box.delete(r);
      }
      document.documentElement.dataset.keeping = "done";
    } catch { /* there is no network, or no room */ }
  };
  window.keep();
})();
