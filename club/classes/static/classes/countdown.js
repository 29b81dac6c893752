// Shows how long a canner load still has. It only displays: the hour beside it is the server's and holds without it.
(() => {
  const boxes = [...document.querySelectorAll(".countdown")];
  if (!boxes.length) return;
  // A phone's clock may be wrong: what counts is how far it is from the server's, when the page was made.
  const ahead = Date.now() - Date.parse(boxes[0].dataset.now);
  const show = () => {
    for (const box of boxes) {
      const left = Math.ceil((Date.parse(box.dataset.until) - (Date.now() - ahead)) / 1000);
      const minutes = Math.floor(left / 60);
      const seconds = String(left % 60).padStart(2, "0");
      box.textContent = left > 0 ? `${minutes}:${seconds} ${box.dataset.left}` : box.dataset.over;
      box.classList.toggle("is-over", left <= 0);
      box.hidden = false;
    }
  };
  show();
  setInterval(show, 1000);
})();
