/* The sheet of rooms closes as people expect: by Escape, and by a tap beside it. Without this file it closes by its own
   name. */
(() => {
  const sheet = document.querySelector(".rooms-more");
  if (!sheet) return;
  document.addEventListener("click", (event) => {
    if (!sheet.contains(event.target)) sheet.open = false;
  });
  sheet.addEventListener("keydown", (event) => {
    if (event.key !== "Escape" || !sheet.open) return;
    sheet.open = false;
    sheet.querySelector("summary").focus();
  });
})();
