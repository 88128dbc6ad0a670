(function () {
  "use strict";
  var STEPS = 180, LOW = 20, HIGH = 20000;
  var all = JSON.parse(document.getElementById("figure-data").textContent);

  function number(value, decimals) {
    return value.toFixed(decimals).replace(/^-(0(\.0*)?)$/, "$1").replace("-", "\u2212");
  }
  function frequency(hz) {
    return hz >= 1000 ? (hz / 1000).toPrecision(3) + "\u00a0kHz" : (hz < 100 ? hz.toFixed(1) : hz.toFixed(0)) + "\u00a0Hz";
  }
  function made(name, text) {
    var element = document.createElement(name);
    if (text) { element.textContent = text; }
    return element;
  }
  function reading(data, series, index) {
    var value = series.y[index];
    if (value === null || value === undefined) { return null; }
    var bound = series.bound && series.bound[index];
    var text = (bound === "upper" ? "<\u00a0" : bound === "lower" ? ">\u00a0" : "") + number(value, series.decimals === undefined ? data.decimals : series.decimals) + "\u00a0" + (series.unit || data.unit);
    var low = series.low && series.low[index], high = series.high && series.high[index];
    if (!bound && low !== null && low !== undefined && high !== null && high !== undefined) {
      text += " (" + number(low, data.decimals) + " to " + number(high, data.decimals) + ")";
    }
    return text;
  }
  function nearest(values, hz) {
    var best = -1, distance = 0.09;
    for (var i = 0; i < values.length; i += 1) {
      var away = Math.abs(Math.log(values[i] / hz));
      if (away < distance) { best = i; distance = away; }
    }
    return best;
  }

  /* A figure is read by frequency (curves), line by line, or by a time that runs down; all end in a list of texts. */
  function source(data) {
    if (data.kind === "time") {
      return {
        count: data.x.length,
        start: 0,
        down: true,
        at: function (step) { return data.x[step] / data.whole; },
        words: function (step) { return number(data.x[step], 2) + "\u00a0ms"; },
        index: function (series, step) { return step; },
        stepAt: function (at) { return Math.round(at * data.whole / data.x[1]); }
      };
    }
    if (data.kind === "lines") {
      return {
        count: data.items.length,
        start: 0,
        hz: function (step) { return data.items[step][0]; },
        words: function (step) { return frequency(data.items[step][0]) + ", " + data.items[step][1]; },
        index: function (series, step) { return step; },
        step: function (hz) {
          var best = 0;
          data.items.forEach(function (item, i) {
            if (Math.abs(Math.log(item[0] / hz)) < Math.abs(Math.log(data.items[best][0] / hz))) { best = i; }
          });
          return best;
        }
      };
    }
    return {
      count: STEPS + 1,
      start: Math.round(STEPS * Math.log(1000 / LOW) / Math.log(HIGH / LOW)),
      hz: function (step) { return LOW * Math.pow(HIGH / LOW, step / STEPS); },
      words: function (step) { return frequency(this.hz(step)); },
      index: function (series, step) { return nearest(series.x, this.hz(step)); },
      step: function (hz) { return Math.round(STEPS * Math.log(hz / LOW) / Math.log(HIGH / LOW)); }
    };
  }

  function attach(figure, data) {
    var from = source(data), plot = figure.querySelector(".plot");
    if (!from.count) { return; }
    var id = figure.id + "-reader", panel = made("div"), label = made("label", "Read values at"), slider = made("input");
    var shown = made("output"), list = made("ul"), cursors = [];
    panel.className = "reader";
    slider.type = "range"; slider.min = 0; slider.max = from.count - 1; slider.step = 1; slider.value = from.start; slider.id = id;
    label.htmlFor = id; shown.htmlFor = id;
    [label, slider, shown, list].forEach(function (part) { panel.appendChild(part); });
    plot.insertAdjacentElement("afterend", panel);
    plot.querySelectorAll("svg.drawing").forEach(function (drawing) {
      var kind = drawing.classList.contains("wide") ? "wide" : "narrow";
      data.boxes[kind].forEach(function (box) {
        var line = document.createElementNS("http://www.w3.org/2000/svg", "line");
        line.setAttribute("class", "cursor");
        line.setAttribute(from.down ? "x1" : "y1", box[from.down ? 0 : 1]);
        line.setAttribute(from.down ? "x2" : "y2", from.down ? box[0] + box[2] : box[1] + box[3]);
        line.style.display = "none";
        drawing.appendChild(line);
        cursors.push([line, box]);
      });
    });

    function show() {
      var step = Number(slider.value), at = from.at ? from.at(step) : Math.log(from.hz(step) / LOW) / Math.log(HIGH / LOW), spoken = [];
      shown.textContent = from.words(step);
      list.textContent = "";
      data.series.forEach(function (series) {
        var text = reading(data, series, from.index(series, step));
        if (text === null) { return; }
        var item = made("li"), name = made("span", series.name + ": ");
        item.appendChild(name);
        item.appendChild(document.createTextNode(text));
        list.appendChild(item);
        spoken.push(series.name + ": " + text);
      });
      slider.setAttribute("aria-valuetext", from.words(step) + ". " + spoken.slice(0, 4).join("; "));
      cursors.forEach(function (pair) {
        var axis = from.down ? "y" : "x", first = from.down ? 1 : 0, place = pair[1][first] + pair[1][first + 2] * Math.min(1, Math.max(0, at));
        pair[0].setAttribute(axis + "1", place); pair[0].setAttribute(axis + "2", place);
        pair[0].style.display = "";
      });
    }
    slider.addEventListener("input", show);
    plot.addEventListener("pointermove", function (event) {
      var drawing = Array.prototype.find.call(plot.querySelectorAll("svg.drawing"), function (one) { return one.getClientRects().length > 0; });
      if (!drawing) { return; }
      var area = drawing.getBoundingClientRect(), scale = area.width / drawing.viewBox.baseVal.width;
      var x = (event.clientX - area.left) / scale, y = (event.clientY - area.top) / scale;
      var boxes = data.boxes[drawing.classList.contains("wide") ? "wide" : "narrow"];
      var box = boxes.find(function (one) { return x >= one[0] - 6 && x <= one[0] + one[2] + 6 && y >= one[1] - 30 && y <= one[1] + one[3] + 40; });
      if (!box) { return; }
      var at = Math.min(1, Math.max(0, from.down ? (y - box[1]) / box[3] : (x - box[0]) / box[2]));
      slider.value = from.stepAt ? from.stepAt(at) : from.step(LOW * Math.pow(HIGH / LOW, at));
      show();
    });
    show();
    cursors.forEach(function (pair) { pair[0].style.display = "none"; });
  }

  document.querySelectorAll("figure[data-figure]").forEach(function (figure) {
    var data = all[figure.getAttribute("data-figure")];
    if (data) { attach(figure, data); }
  });
}());
