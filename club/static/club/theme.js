// Follows the device's light or dark setting, and follows it again when it changes at dusk.
(function () {
  "use strict";
  var dark = window.matchMedia("(prefers-color-scheme: dark)");
  function apply() {
    document.documentElement.dataset.bsTheme = dark.matches ? "dark" : "light";
  }
  apply();
  dark.addEventListener("change", apply);
})();
