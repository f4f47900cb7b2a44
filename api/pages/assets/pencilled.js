// Counts down how long a visit stays pencilled. Without this script the page says
// until when. The time left comes from the clock of the server, by how long ago
// the page was made, so that a wrong clock of this machine does no harm.
(() => {
  let timer = 0;
  let show = () => {};
  const start = (opened) => {
    clearInterval(timer);
    show = () => {};
    const left = document.querySelector(".left");
    const said = document.querySelector("[role=status].over");
    if (!left || !said) return;
    const clock = left.querySelector("[role=timer]");
    const seconds = Number(left.dataset.seconds);
    const two = (n) => String(n).padStart(2, "0");
    const say = [[300, "5 minutes left"], [60, "1 minute left"]].filter(([at]) => at < seconds);
    show = () => {
      const now = Math.ceil(seconds - (Date.now() - opened) / 1000);
      if (now <= 0) {
        left.hidden = true;
        said.classList.remove("unseen");
        said.textContent = said.dataset.over;
        clearInterval(timer);
        return;
      }
      const hours = Math.floor(now / 3600);
      const rest = two(Math.floor(now / 60) % 60) + ":" + two(now % 60);
      clock.textContent = hours ? hours + ":" + rest : rest.replace(/^0/, "");
      left.hidden = false;
      while (say.length && now <= say[0][0]) said.textContent = say.shift()[1];
    };
    timer = setInterval(() => show(), 1000);
    show();
  };
  start(performance.timeOrigin);
  // The booking page goes on without leaving.
  document.addEventListener("shown", () => start(Date.now()));
  // A tab that slept shows the time left at once.
  document.addEventListener("visibilitychange", () => show());
})();
