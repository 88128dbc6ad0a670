(function () {
  "use strict";
  /* Sounds start low, one at a time, all at the same volume; direct and through change places at the same moment. */
  var sounds = Array.prototype.slice.call(document.querySelectorAll("audio[data-label]")), START_VOLUME = 0.3;
  function handOver(from, to) {
    var at = from && !from.ended ? from.currentTime : 0;
    function begin() {
      to.currentTime = Math.min(at, to.duration || at);
      var started = to.play();
      if (started) { started.catch(function () { return null; }); }
    }
    if (from) { from.pause(); }
    if (to.readyState > 0) { begin(); } else { to.addEventListener("loadedmetadata", begin, {once: true}); to.preload = "auto"; to.load(); }
  }
  function switcher(group) {
    var whole = Array.prototype.slice.call(group.querySelectorAll(".whole audio")), current = null, button = document.createElement("button");
    if (whole.length < 2) { return; }
    function following() { return whole[(whole.indexOf(current) + 1) % whole.length]; }
    function say() {
      var next = following().getAttribute("data-label");
      button.textContent = current ? "Switch to: " + next : "Play: " + next + ". Press again to switch at the same moment";
      whole.forEach(function (one) { one.parentElement.querySelector("p").classList.toggle("playing", one === current && !one.paused); });
    }
    button.type = "button"; button.className = "switch";
    button.addEventListener("click", function () { handOver(current, following()); });
    whole.forEach(function (one) {
      one.addEventListener("play", function () { current = one; say(); });
      one.addEventListener("pause", say);
    });
    group.querySelector(".whole").insertAdjacentElement("beforebegin", button);
    say();
  }
  sounds.forEach(function (sound) {
    sound.volume = START_VOLUME;
    sound.addEventListener("play", function () {
      sounds.forEach(function (other) { if (other !== sound) { other.pause(); } });
    });
    sound.addEventListener("volumechange", function () {
      sounds.forEach(function (other) {
        if (other.volume !== sound.volume) { other.volume = sound.volume; }
        if (other.muted !== sound.muted) { other.muted = sound.muted; }
      });
    });
  });
  document.querySelectorAll(".listen").forEach(switcher);
}());
