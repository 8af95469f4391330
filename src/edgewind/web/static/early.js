// Before anything is painted: set the colour scheme chosen last.
(function () {
  try {
    var chosen = localStorage.getItem("edgewind-theme");
    if (chosen === "light" || chosen === "dark") document.documentElement.dataset.theme = chosen;
  } catch (error) {
    /* a browser that keeps nothing: the system's light holds */
  }
})();
// A button that is pressed before the page's scripts have loaded is pressed again afterwards; otherwise the browser
// would send the form itself and the typed text would be lost. Enter in a field presses its form's button.
(function () {
  var pressed = null;
  function hold(event) {
    var button = event.target.closest && event.target.closest("button");
    if (!button) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    pressed = button;
  }
  document.addEventListener("click", hold, true);
  document.addEventListener("DOMContentLoaded", function () {
    document.removeEventListener("click", hold, true);
    if (pressed && pressed.isConnected) pressed.click();
  });
})();
