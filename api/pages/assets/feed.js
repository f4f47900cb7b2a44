// Copies the address of the calendar. Without this script it can be selected by
// hand.
(() => {
  const address = document.getElementById("address");
  const copy = document.getElementById("copy");
  const copied = document.getElementById("copied");
  if (!address || !copy || !copied) return;
  const byHand = () => {
    address.focus();
    address.select();
    copied.textContent = document.execCommand && document.execCommand("copy") ? "Copied." : "The address is selected: copy it now.";
  };
  copy.addEventListener("click", () => {
    if (!navigator.clipboard) return byHand();
    navigator.clipboard.writeText(address.value).then(() => { copied.textContent = "Copied."; }, byHand);
  });
  copy.hidden = false;
})();
