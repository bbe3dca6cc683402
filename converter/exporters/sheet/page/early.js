(function () {
  // before the page shows: that scripts run, and what was chosen last time
  var root = document.documentElement;
  root.classList.add("js");
  try {
    var unit = localStorage.getItem("elbowroom-sheet/unit");
    if (unit === "mm" || unit === "in") {
      root.classList.remove("mm", "in");
      root.classList.add(unit);
    }
    var theme = localStorage.getItem("elbowroom-sheet/theme");
    if (theme === "light" || theme === "dark") root.classList.add(theme);
  } catch (refused) {
    // said later, by the page's main script
  }
})();
