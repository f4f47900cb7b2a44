// Copies the address of a calendar.
(() => {
  "use strict";
  const b = document.getElementById("copy");
  if (!b || !navigator.clipboard) return;
  b.hidden = false;
  b.addEventListener("click", () => {
    navigator.clipboard.writeText(document.getElementById("address").value).then(() => { document.getElementById("copied").textContent = "Copied."; },
      () => { document.getElementById("copied").textContent = "It could not be copied: mark it and copy it by hand."; });
  });
})();
