(function () {
  "use strict";
  /* Paper shows what the screen folds away, apart from the curves as numbers. */
  var opened = [];
  window.addEventListener("beforeprint", function () {
    opened = Array.prototype.filter.call(document.querySelectorAll("details:not(.as-numbers):not(.kept):not([data-numbers])"), function (one) { return !one.open; });
    opened.forEach(function (one) { one.open = true; });
  });
  window.addEventListener("afterprint", function () {
    opened.forEach(function (one) { one.open = false; });
    opened = [];
  });
}());
