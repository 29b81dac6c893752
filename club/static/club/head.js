/* The sheet of rooms closes as people expect: by Escape, and by a tap beside it. Without this file it closes by its own
   name. A stroke leads to the search from wherever one is. */
(() => {
  document.addEventListener("keydown", (event) => {
    const box = document.querySelector("#head-search, #find");
    if (event.key !== "/" || !box || event.target.matches("input, textarea, select")) return;
    event.preventDefault();
    box.focus();
  });
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
