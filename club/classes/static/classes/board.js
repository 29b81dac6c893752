// The board of a class asks again while somebody looks at it. Without this, reloading it does the same.
(() => {
  const EVERY = 20_000;
  setInterval(() => {
    if (document.visibilityState === "visible") location.reload();
  }, EVERY);
})();
