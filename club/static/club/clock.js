/* "Now" beside a box for a moment: the server's wall clock, in the zone of the page, and what went by since it came. Where
   phone and page are far apart nobody can say whether the phone's clock is wrong or the page was kept by the phone: no
   button then. Without this file the time is typed. */
(() => {
  const APART_MS = 5 * 60 * 1000;
  const came = Date.now() - performance.now();
  const show = () => document.querySelectorAll("[data-now]").forEach((button) => {
    button.hidden = Math.abs(came - Number(button.dataset.at)) > APART_MS;
  });
  show();
  document.addEventListener("DOMContentLoaded", show);
  document.addEventListener("click", (event) => {
    const button = event.target.closest("[data-now]");
    if (!button) return;
    const wall = new Date(Date.parse(`${button.dataset.now}Z`) + Date.now() - came);
    const box = document.getElementById(button.dataset.of);
    box.value = wall.toISOString().slice(0, 16);
    box.dispatchEvent(new Event("change", { bubbles: true }));
    box.focus();
  });
})();
