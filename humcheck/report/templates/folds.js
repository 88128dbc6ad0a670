(function () {
  "use strict";
  /* A link leads into what is folded: it is opened on the way. */
  function openAt(hash) {
    var target = hash.length > 1 && document.getElementById(hash.slice(1));
    for (var one = target && target.closest("details"); one; one = one.parentElement.closest("details")) { one.open = true; }
  }
  document.addEventListener("click", function (event) {
    var link = event.target.closest && event.target.closest("a[href^='#']");
    if (link) { openAt(link.getAttribute("href")); }
  });
  window.addEventListener("hashchange", function () { openAt(location.hash); });
  openAt(location.hash);
  /* Paper shows what is open on the screen, and of what is folded only what weighs most. */
  var opened = [];
  window.addEventListener("beforeprint", function () {
    opened = Array.prototype.filter.call(document.querySelectorAll("details.printed"), function (one) { return !one.open; });
    opened.forEach(function (one) { one.open = true; });
  });
  window.addEventListener("afterprint", function () {
    opened.forEach(function (one) { one.open = false; });
    opened = [];
  });
}());
