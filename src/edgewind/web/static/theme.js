// Before anything is painted: the light that was chosen the last time.
(function () {
  try {
    var chosen = localStorage.getItem("edgewind-theme");
    if (chosen === "light" || chosen === "dark") document.documentElement.dataset.theme = chosen;
  } catch (error) { /* a browser that keeps nothing: the system's light holds */ }
})();
