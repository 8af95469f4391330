// Before anything is painted: the light that was chosen the last time.
(function () {
  try {
    var chosen = localStorage.getItem("edgewind-theme");
    if (chosen === "light" || chosen === "dark") document.documentElement.dataset.theme = chosen;
  } catch (error) {
    /* a browser that keeps nothing: the system's light holds */
  }
})();
// A button that is pressed before the page's scripts are here is pressed again once they are; else a form would be sent
// without them and what was typed lost. Enter in a field presses its form's button.
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
