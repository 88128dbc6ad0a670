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

  /* A figure is read by frequency (curves) or line by line; both end in a list of texts. Both know what part is shown. */
  function source(data, view) {
    if (data.kind === "lines") {
      var inside = [];
      return {
        look: function () {
          inside = data.items.map(function (item, i) { return i; }).filter(function (i) {
            return data.items[i][0] >= view.low && data.items[i][0] <= view.high;
          });
        },
        count: function () { return inside.length; },
        start: function () { return 0; },
        hz: function (step) { return data.items[inside[step]][0]; },
        words: function (step) { return frequency(this.hz(step)) + ", " + data.items[inside[step]][1]; },
        index: function (series, step) { return inside[step]; },
        step: function (hz) {
          var best = 0;
          inside.forEach(function (item, i) {
            if (Math.abs(Math.log(data.items[item][0] / hz)) < Math.abs(Math.log(data.items[inside[best]][0] / hz))) { best = i; }
          });
          return best;
        }
      };
    }
    if (data.kind === "time") {
      return {
        down: true,
        look: function () { return null; },
        count: function () { return data.x.length; },
        start: function () { return 0; },
        hz: function (step) { return step; },
        share: function (step) { return data.x[step] / data.whole; },
        words: function (step) { return number(data.x[step], 2) + "\u00a0ms"; },
        index: function (series, step) { return step; },
        step: function (share) { return Math.min(data.x.length - 1, Math.round(share * data.x.length)); }
      };
    }
    return {
      look: function () { return null; },
      count: function () { return STEPS + 1; },
      start: function () { return this.step(1000); },
      hz: function (step) { return view.low * Math.pow(view.high / view.low, step / STEPS); },
      words: function (step) { return frequency(this.hz(step)); },
      index: function (series, step) { return nearest(series.x, this.hz(step)); },
      step: function (hz) { return Math.round(STEPS * Math.min(1, Math.max(0, view.place(hz)))); }
    };
  }

  function drawn(name, attributes) {
    var element = document.createElementNS("http://www.w3.org/2000/svg", name);
    Object.keys(attributes).forEach(function (key) { element.setAttribute(key, attributes[key]); });
    return element;
  }
  /* The ends of a part of a path across, to find the middle of a mark. */
  function middle(part) {
    var x = 0, low = Infinity, high = -Infinity;
    part.replace(/([MLHhlmaVvz])([^MLHhlmaVvz]*)/g, function (whole, command, rest) {
      var values = (rest.match(/-?[\d.]+/g) || []).map(Number);
      if (command === "M" || command === "L" || command === "H") { x = values[0]; }
      if (command === "h" || command === "l" || command === "m") { x += values[0]; }
      if (command === "a") { x += values[5]; }
      low = Math.min(low, x); high = Math.max(high, x);
      return whole;
    });
    return (low + high) / 2;
  }
  function moved(element, across) {
    var name = element.tagName, kind = element.getAttribute("class") || "", path = element.getAttribute("d");
    if (!element.kept) {
      element.kept = {};
      ["d", "x", "width", "x1", "x2"].forEach(function (key) { if (element.hasAttribute(key)) { element.kept[key] = element.getAttribute(key); } });
    }
    if (!across) { Object.keys(element.kept).forEach(function (key) { element.setAttribute(key, element.kept[key]); }); return; }
    var was = {d: path && element.kept.d};
    ["x", "width", "x1", "x2"].forEach(function (key) { was[key] = Number(element.kept[key]); });
    if (name === "path" && !/\b(filled|open|bound|stem|context)\b/.test(kind)) {
      element.setAttribute("d", was.d.replace(/([ML])(-?[\d.]+)/g, function (whole, command, x) { return command + across(Number(x)).toFixed(1); }));
    } else if (name === "path") {
      element.setAttribute("d", was.d.split(/(?=M)/).map(function (part) {
        var at = middle(part), by = across(at) - at;
        return part.replace(/([MLH])(-?[\d.]+)/g, function (whole, command, x) { return command + (Number(x) + by).toFixed(1); });
      }).join(""));
    } else if (name === "rect") {
      element.setAttribute("x", across(was.x)); element.setAttribute("width", Math.max(0, across(was.x + was.width) - across(was.x)));
    } else if (name === "line") {
      element.setAttribute("x1", across(was.x1)); element.setAttribute("x2", across(was.x2));
    } else if (name === "text") {
      element.setAttribute("x", across(was.x));
    }
  }
  function ticksOf(view) {
    var found = [], step, value;
    if (view.high / view.low > 8) {
      for (value = 10; value < view.high; value *= 10) { found.push(value, 2 * value, 5 * value); }
    } else {
      step = Math.pow(10, Math.floor(Math.log10((view.high - view.low) / 4)));
      [2, 5].forEach(function (factor) { if ((view.high - view.low) / (factor * step) >= 4) { step *= factor === 5 ? 2.5 : 2; } });
      for (value = Math.ceil(view.low / step) * step; value <= view.high; value += step) { found.push(value); }
    }
    return found.filter(function (hz) { return hz >= view.low * 0.999 && hz <= view.high * 1.001; });
  }
  function axis(group, box, view) {
    var last = -Infinity;
    if (!group.kept) { group.kept = Array.prototype.slice.call(group.childNodes); }
    group.textContent = "";
    if (view.whole()) { group.kept.forEach(function (one) { group.appendChild(one); }); return; }
    group.kept.filter(function (one) { return one.classList.contains("axis"); }).forEach(function (one) { group.appendChild(one); });
    ticksOf(view).forEach(function (hz) {
      var x = box[0] + box[2] * view.place(hz), words = hz >= 1000 ? Number((hz / 1000).toPrecision(4)) + "k" : String(Number(hz.toPrecision(4))), text;
      group.insertBefore(drawn("line", {x1: x, x2: x, y1: box[1], y2: box[1] + box[3], "class": "grid"}), group.firstChild);
      if (x - last < 38) { return; }
      last = x;
      text = drawn("text", {x: x, y: box[1] + box[3] + 16, "class": "tick", "text-anchor": "middle"});
      text.textContent = words;
      group.appendChild(text);
    });
  }
  /* Only what stands in a panel's field moves; a figure that has none is read without zoom. */
  function stages(figure, plot, data) {
    var found = [];
    plot.querySelectorAll("svg.drawing").forEach(function (drawing, place) {
      var boxes = data.boxes[drawing.classList.contains("wide") ? "wide" : "narrow"];
      var axes = drawing.querySelectorAll("g.hz"), fields = drawing.querySelectorAll("g.field");
      if (axes.length !== boxes.length || fields.length !== boxes.length) { return; }
      boxes.forEach(function (box, i) { found.push({drawing: drawing, box: box, axis: axes[i], field: fields[i], name: figure.id + "-clip-" + place + "-" + i}); });
    });
    return found;
  }
  function show(stage, view) {
    var box = stage.box;
    function across(x) { return box[0] + box[2] * view.place(LOW * Math.pow(HIGH / LOW, (x - box[0]) / box[2])); }
    if (!stage.clipped) {
      var clip = drawn("clipPath", {id: stage.name});
      clip.appendChild(drawn("rect", {x: box[0] - 4, y: box[1] - 18, width: box[2] + 8, height: box[3] + 20}));
      stage.drawing.insertBefore(clip, stage.drawing.firstChild);
      stage.field.setAttribute("clip-path", "url(#" + stage.name + ")");
      stage.clipped = true;
    }
    stage.field.querySelectorAll("path, rect, line, text").forEach(function (one) { moved(one, view.whole() ? null : across); });
    axis(stage.axis, box, view);
  }

  function attach(figure, data) {
    var view = {
      low: LOW, high: HIGH,
      place: function (hz) { return Math.log(hz / this.low) / Math.log(this.high / this.low); },
      at: function (share) { return this.low * Math.pow(this.high / this.low, share); },
      whole: function () { return this.low <= LOW * 1.001 && this.high >= HIGH * 0.999; }
    };
    var from = source(data, view), plot = figure.querySelector(".plot"), parts = stages(figure, plot, data);
    from.look();
    if (!from.count()) { return; }
    var id = figure.id + "-reader", panel = made("div"), label = made("label", "Read values at"), slider = made("input");
    var shown = made("output"), list = made("ul"), cursors = [], zoomed = null, buttons = {};
    panel.className = "reader";
    slider.type = "range"; slider.min = 0; slider.max = from.count() - 1; slider.step = 1; slider.value = from.start(); slider.id = id;
    label.htmlFor = id; shown.htmlFor = id;
    [label, slider, shown, list].forEach(function (part) { panel.appendChild(part); });
    plot.insertAdjacentElement("afterend", panel);
    plot.querySelectorAll("svg.drawing").forEach(function (drawing) {
      data.boxes[kindOf(drawing)].forEach(function (box) {
        var line = drawn("line", from.down ? {"class": "cursor", x1: box[0], x2: box[0] + box[2]} : {"class": "cursor", y1: box[1], y2: box[1] + box[3]});
        line.style.display = "none";
        drawing.appendChild(line);
        cursors.push([line, box]);
      });
    });
    function kindOf(drawing) { return drawing.classList.contains("wide") ? "wide" : "narrow"; }
    function now() { return from.count() ? from.hz(Number(slider.value)) : Math.sqrt(view.low * view.high); }

    function read() {
      var step = Number(slider.value), spoken = [];
      list.textContent = "";
      if (!from.count()) { shown.textContent = "no tone in this range"; return; }
      shown.textContent = from.words(step);
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
        var box = pair[1], share = Math.min(1, Math.max(0, from.down ? from.share(step) : view.place(from.hz(step))));
        ["1", "2"].forEach(function (end) {
          pair[0].setAttribute((from.down ? "y" : "x") + end, from.down ? box[1] + box[3] * share : box[0] + box[2] * share);
        });
        pair[0].style.display = "";
      });
    }
    function look(low, high) {
      var hz = now(), least = 2;
      low = Math.max(LOW, low); high = Math.min(HIGH, high);
      if (high / low < least) {
        hz = Math.sqrt(low * high);
        low = Math.min(Math.max(LOW, hz / Math.sqrt(least)), HIGH / least); high = low * least;
      }
      view.low = low; view.high = high;
      parts.forEach(function (stage) { show(stage, view); });
      from.look();
      slider.max = Math.max(0, from.count() - 1);
      slider.value = from.step(hz);
      zoomed.textContent = frequency(low) + " to " + frequency(high);
      buttons.out.disabled = buttons.whole.disabled = view.whole();
      buttons.closer.disabled = high / low < least * 1.01;
      buttons.lower.disabled = low <= LOW * 1.001; buttons.higher.disabled = high >= HIGH * 0.999;
      read();
    }
    function zoom(factor) {
      var half = Math.log(view.high / view.low) * factor / 2, middle = Math.log(now());
      middle = Math.min(Math.max(middle, Math.log(LOW) + half), Math.log(HIGH) - half);
      look(half * 2 >= Math.log(HIGH / LOW) ? LOW : Math.exp(middle - half), half * 2 >= Math.log(HIGH / LOW) ? HIGH : Math.exp(middle + half));
    }
    function slide(share) {
      var by = Math.pow(view.high / view.low, share);
      by = Math.min(Math.max(by, LOW / view.low), HIGH / view.high);
      look(view.low * by, view.high * by);
    }
    function controls() {
      var bar = made("div");
      bar.className = "zoomer";
      bar.setAttribute("role", "group");
      bar.setAttribute("aria-label", "Frequencies shown");
      [["closer", "Zoom in", function () { zoom(0.5); }], ["out", "Zoom out", function () { zoom(2); }],
        ["lower", "Lower", function () { slide(-0.5); }], ["higher", "Higher", function () { slide(0.5); }],
        ["whole", "Whole range", function () { look(LOW, HIGH); }]].forEach(function (item) {
        buttons[item[0]] = made("button", item[1]);
        buttons[item[0]].type = "button";
        buttons[item[0]].disabled = item[0] !== "closer";
        buttons[item[0]].addEventListener("click", item[2]);
        bar.appendChild(buttons[item[0]]);
      });
      zoomed = made("span", frequency(LOW) + " to " + frequency(HIGH));
      zoomed.setAttribute("role", "status");
      bar.appendChild(zoomed);
      bar.appendChild(made("span", "(or drag across the figure)"));
      panel.appendChild(bar);
    }
    function under(event) {
      var drawing = Array.prototype.find.call(plot.querySelectorAll("svg.drawing"), function (one) { return one.getClientRects().length > 0; });
      if (!drawing) { return null; }
      var area = drawing.getBoundingClientRect(), scale = area.width / drawing.viewBox.baseVal.width;
      var x = (event.clientX - area.left) / scale, y = (event.clientY - area.top) / scale;
      var box = data.boxes[kindOf(drawing)].find(function (one) { return x >= one[0] - 6 && x <= one[0] + one[2] + 6 && y >= one[1] - 30 && y <= one[1] + one[3] + 40; });
      return box ? {drawing: drawing, box: box, x: x, y: y} : null;
    }
    function share(x, box) { return Math.min(1, Math.max(0, (x - box[0]) / box[2])); }
    function draggable() {
      var drag = null;
      function end() { if (drag) { drag.mark.remove(); drag = null; } }
      plot.classList.add("draggable");
      plot.addEventListener("pointerdown", function (event) {
        var place = under(event);
        end();
        if (!place || event.button !== 0) { return; }
        drag = {place: place, mark: drawn("rect", {"class": "chosen", x: place.x, y: place.box[1], width: 0, height: place.box[3]})};
        place.drawing.appendChild(drag.mark);
        if (event.pointerType === "mouse") { event.preventDefault(); }
        plot.setPointerCapture(event.pointerId);
      });
      plot.addEventListener("pointermove", function (event) {
        if (!drag) { return; }
        var area = drag.place.drawing.getBoundingClientRect(), box = drag.place.box;
        var x = box[0] + box[2] * share((event.clientX - area.left) * drag.place.drawing.viewBox.baseVal.width / area.width, box);
        drag.to = x;
        drag.mark.setAttribute("x", Math.min(x, drag.place.x)); drag.mark.setAttribute("width", Math.abs(x - drag.place.x));
      });
      plot.addEventListener("pointerup", function () {
        var chosen = drag;
        end();
        if (!chosen || chosen.to === undefined || Math.abs(chosen.to - chosen.place.x) < 8) { return; }
        var ends = [share(chosen.place.x, chosen.place.box), share(chosen.to, chosen.place.box)].sort(function (a, b) { return a - b; });
        look(view.at(ends[0]), view.at(ends[1]));
      });
      plot.addEventListener("pointercancel", end);
      document.addEventListener("keydown", function (event) { if (event.key === "Escape") { end(); } });
    }
    slider.addEventListener("input", read);
    plot.addEventListener("pointermove", function (event) {
      var place = under(event);
      if (!place || !from.count()) { return; }
      slider.value = from.step(from.down ? Math.min(1, Math.max(0, (place.y - place.box[1]) / place.box[3])) : view.at(share(place.x, place.box)));
      read();
    });
    if (parts.length) { controls(); draggable(); }
    read();
    cursors.forEach(function (pair) { pair[0].style.display = "none"; });
  }

  document.querySelectorAll("figure[data-figure]").forEach(function (figure) {
    var data = all[figure.getAttribute("data-figure")];
    if (data) { attach(figure, data); }
  });
}());
