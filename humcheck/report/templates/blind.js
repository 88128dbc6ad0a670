(function () {
  "use strict";
  var START_VOLUME = 0.3, DIP_S = 0.012, LEVEL = 0.05, COUNTS = [16, 20, 24];

  function made(name, text, className) {
    var element = document.createElement(name);
    if (text) { element.textContent = text; }
    if (className) { element.className = className; }
    return element;
  }
  /* Chance of `least` or more right answers of `count`, when each is right with probability `share`: exact sums. */
  function chance(least, count, share) {
    var term = Math.pow(1 - share, count), sum = least <= 0 ? term : 0, k;
    for (k = 1; k <= count; k += 1) {
      term *= (count - k + 1) / k * share / (1 - share);
      if (k >= least) { sum += term; }
    }
    return Math.min(1, sum);
  }
  function needed(count) {
    var least = 0;
    while (chance(least, count, 0.5) > LEVEL) { least += 1; }
    return least;
  }
  function inHundred(share) { return Math.round(100 * share) + " in 100"; }
  function missed(count, share) { return 1 - chance(needed(count), count, share); }
  function drawn() { return window.crypto.getRandomValues(new Uint8Array(1))[0] & 1 ? "B" : "A"; }

  function decoded(context, anchor) {
    var source = document.getElementById(anchor).querySelector("audio").getAttribute("src");
    var text = window.atob(source.slice(source.indexOf(",") + 1)), bytes = new Uint8Array(text.length), i;
    for (i = 0; i < text.length; i += 1) { bytes[i] = text.charCodeAt(i); }
    return context.decodeAudioData(bytes.buffer);
  }

  /* Both sounds run all the time, in step; one is let through. Every change, also to what is the same sound, passes
     through the same short dip, so that the change itself tells nothing. */
  function mixer(context, buffers) {
    var gate = context.createGain(), volume = context.createGain(), length = Math.min(buffers.A.duration, buffers.B.duration), gains = {};
    gate.gain.value = 0; volume.gain.value = START_VOLUME;
    gate.connect(volume); volume.connect(context.destination);
    ["A", "B"].forEach(function (name) {
      var player = context.createBufferSource();
      gains[name] = context.createGain(); gains[name].gain.value = 0;
      player.buffer = buffers[name]; player.loop = true; player.loopEnd = length;
      player.connect(gains[name]); gains[name].connect(gate);
      player.start(context.currentTime + 0.05);
    });
    return {
      let: function (name) {
        var now = context.currentTime;
        gate.gain.cancelScheduledValues(now);
        gate.gain.setValueAtTime(gate.gain.value, now);
        gate.gain.linearRampToValueAtTime(0, now + DIP_S);
        ["A", "B"].forEach(function (one) { gains[one].gain.setValueAtTime(one === name ? 1 : 0, now + DIP_S); });
        if (name) { gate.gain.linearRampToValueAtTime(1, now + 2 * DIP_S); }
      },
      volume: function (value) { volume.gain.setValueAtTime(value, context.currentTime); },
      close: function () { context.close(); }
    };
  }

  function attach(box) {
    var pairs = Array.prototype.slice.call(box.querySelectorAll("[data-a]")), setup = made("div"), stage = made("div"), sounding = null;
    var select = made("select"), fieldset = made("fieldset"), begin = made("button", "I have turned the volume down: begin"), state = made("p", "", "state");
    state.setAttribute("role", "status");
    function button(text, action, className) {
      var one = made("button", text, className);
      one.type = "button";
      one.addEventListener("click", action);
      return one;
    }

    function prepare() {
      var label = made("label", "Which two to compare: "), row = made("div", "", "row");
      box.querySelector(".blind-off").remove();
      select.id = "blind-pair"; label.htmlFor = select.id;
      pairs.forEach(function (pair, i) { select.appendChild(new Option(pair.getAttribute("data-words"), String(i))); });
      label.appendChild(select);
      setup.appendChild(label);
      fieldset.appendChild(made("legend", "Number of trials, fixed before you begin"));
      COUNTS.forEach(function (count, i) {
        var one = made("label"), input = made("input");
        input.type = "radio"; input.name = "blind-count"; input.value = String(count); input.checked = i === 0; input.id = "blind-count-" + count;
        one.htmlFor = input.id;
        one.appendChild(input);
        one.appendChild(document.createTextNode(" " + count + " (at least " + needed(count) + " right are needed; misses " + inHundred(missed(count, 0.7)) + " listeners who are right 70\u00a0% of the time)"));
        fieldset.appendChild(one);
        fieldset.appendChild(made("br"));
      });
      setup.appendChild(fieldset);
      begin.type = "button";
      begin.addEventListener("click", start);
      row.appendChild(begin);
      setup.appendChild(row);
      box.appendChild(stage); box.appendChild(state); box.appendChild(setup);
      if (!window.AudioContext || !window.crypto) { begin.disabled = true; state.textContent = "This browser cannot do this test."; }
    }

    function start() {
      var pair = pairs[Number(select.value)], count = Number(fieldset.querySelector("input:checked").value), context = new window.AudioContext();
      begin.disabled = true;
      state.textContent = "The sounds are made ready.";
      document.querySelectorAll("audio").forEach(function (one) { one.pause(); });
      Promise.all([decoded(context, pair.getAttribute("data-a")), decoded(context, pair.getAttribute("data-b"))]).then(function (both) {
        setup.hidden = true;
        context.resume();
        run(mixer(context, {A: both[0], B: both[1]}), count, pair.getAttribute("data-words"));
      }, function () {
        context.close();
        begin.disabled = false;
        state.textContent = "These sounds cannot be played here.";
      });
    }

    function run(sound, count, words) {
      var hidden = drawn(), answers = [], heard = false, names = {}, row = made("div", "", "row"), replies = made("div", "", "row"), volume = made("input"), label = made("label", "Volume "), keys;
      function say(extra) {
        state.textContent = "Trial " + (answers.length + 1) + " of " + count + ". " + (sounding ? sounding + " is playing." : "Nothing is playing.") + (extra || "");
      }
      function play(name) {
        sounding = name;
        if (name === "X") { heard = true; }
        sound.let(name === "X" ? hidden : name);
        Object.keys(names).forEach(function (one) { names[one].setAttribute("aria-pressed", String(one === name)); });
        replies.querySelectorAll("button").forEach(function (one) { one.disabled = !heard; });
        say();
      }
      function answer(name) {
        if (!heard) { return; }
        answers.push([hidden, name]);
        heard = false; hidden = drawn();
        play(null);
        if (answers.length === count) { leave(); tell(answers, count, words); } else { say(" Your answer is kept. Choose A, B or X."); names.X.focus(); }
      }
      function leave() {
        box.removeEventListener("keydown", keys);
        sounding = null;
        sound.let(null);
        sound.close();
        stage.textContent = "";
      }
      ["A", "B", "X"].forEach(function (name) {
        names[name] = button(name, function () { play(name); }, "sound");
        names[name].setAttribute("aria-label", {A: "Play A, direct", B: "Play B, through", X: "Play X, unknown"}[name]);
        row.appendChild(names[name]);
      });
      row.appendChild(button("Silence", function () { play(null); }));
      replies.appendChild(button("X is A", function () { answer("A"); }));
      replies.appendChild(button("X is B", function () { answer("B"); }));
      replies.appendChild(button("Give up", function () {
        var done = answers.length;
        leave();
        again("Given up after " + done + " of " + count + " trials: no result. A test that is ended when one likes proves nothing.");
      }));
      volume.type = "range"; volume.min = 0; volume.max = 1; volume.step = 0.01; volume.value = START_VOLUME; volume.id = "blind-volume"; label.htmlFor = volume.id;
      volume.addEventListener("input", function () { sound.volume(Number(volume.value)); });
      label.appendChild(volume);
      stage.textContent = "";
      [made("p", words + ". Keys: A, B and X play, 1 answers “X is A”, 2 “X is B”, S is silence."), row, replies, label].forEach(function (part) { stage.appendChild(part); });
      keys = function (event) {
        var key = event.key.toLowerCase();
        if (event.ctrlKey || event.metaKey || event.altKey || event.target.type === "range") { return; }
        if (key === "a" || key === "b" || key === "x") { play(key.toUpperCase()); } else if (key === "s") { play(null); } else if (key === "1" || key === "2") { answer(key === "1" ? "A" : "B"); } else { return; }
        event.preventDefault();
      };
      box.addEventListener("keydown", keys);
      play(null);
      names.A.focus();
    }

    function tell(answers, count, words) {
      var right = answers.filter(function (one) { return one[0] === one[1]; }).length, p = chance(right, count, 0.5), shown = p <= LEVEL;
      var fold = made("details"), list = made("ol", "", "plain-list");
      stage.appendChild(made("p", (shown ? "Shown" : "Not shown") + ": " + right + " of " + count + " right.", "verdict"));
      stage.appendChild(made("p", words + ". Somebody who only guesses is right this often or more with a probability of p = " + p.toFixed(6) + " (one-sided, exact binomial). " +
        (shown ? "That is at most 0.05, so the two were told apart." : "That is more than 0.05, so it is not shown that the two can be told apart.")));
      if (!shown) {
        stage.appendChild(made("p", "Not shown does not mean that there is no difference. A test of " + count + " trials, in which " + needed(count) + " right are needed, misses " +
          inHundred(missed(count, 0.7)) + " listeners who hear a difference so well that they are right 70\u00a0% of the time, and " + inHundred(missed(count, 0.9)) + " of those who are right 90\u00a0% of the time."));
      }
      stage.appendChild(made("p", "It holds for this listener, these excerpts, these headphones or loudspeakers and this volume."));
      fold.appendChild(made("summary", "Every trial"));
      answers.forEach(function (one) { list.appendChild(made("li", "X was " + one[0] + ", answered " + one[1] + (one[0] === one[1] ? ": right" : ": wrong"))); });
      fold.appendChild(list);
      stage.appendChild(fold);
      again((shown ? "Shown" : "Not shown") + ": " + right + " of " + count + " right.");
    }
    function again(text) {
      setup.hidden = false;
      begin.disabled = false;
      state.textContent = text;
      begin.focus();
    }
    prepare();
  }
  document.querySelectorAll(".blind").forEach(attach);
}());
