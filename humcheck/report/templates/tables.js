(function () {
  "use strict";
  var SAID = {worse: "the worse one", "": "none said"};
  var all = Array.prototype.slice;

  function made(name, text, className) {
    var element = document.createElement(name);
    if (text) { element.textContent = text; }
    if (className) { element.className = className; }
    return element;
  }
  function list(nodes) { return all.call(nodes); }

  /* Headings become buttons; a second press turns the order round. Rows without a value come last. */
  function sortable(table, told) {
    var headings = list(table.tHead.rows[0].cells);
    function key(row, place, kind) {
      var cell = row.cells[place];
      if (kind === "number") { return cell.hasAttribute("data-v") ? Number(cell.getAttribute("data-v")) : null; }
      return cell.textContent.trim();
    }
    function compare(a, b, turn) {
      if (a === null || b === null) { return (a === null) - (b === null); }
      return turn * (typeof a === "number" ? a - b : a.localeCompare(b, "en", {numeric: true}));
    }
    headings.forEach(function (heading, place) {
      var kind = heading.getAttribute("data-sort"), button;
      if (!kind) { return; }
      button = made("button", "", "sorter");
      button.type = "button";
      while (heading.firstChild) { button.appendChild(heading.firstChild); }
      heading.appendChild(button);
      button.addEventListener("click", function () {
        var up = heading.getAttribute("aria-sort") !== "ascending";
        headings.forEach(function (other) { other.removeAttribute("aria-sort"); });
        heading.setAttribute("aria-sort", up ? "ascending" : "descending");
        list(table.tBodies).forEach(function (body) {
          if (body.hasAttribute("data-fixed")) { return; }
          var rows = list(body.rows).map(function (row, i) { return [key(row, place, kind), i, row]; });
          rows.sort(function (a, b) { return compare(a[0], b[0], up ? 1 : -1) || a[1] - b[1]; });
          rows.forEach(function (item) { body.appendChild(item[2]); });
        });
        told("Sorted by " + button.textContent.trim() + ", " + (up ? "smallest" : "largest") + " first.");
      });
    });
  }

  /* Whether the shown values of a column can be told apart: no single value lies in all of their ranges. */
  function differs(rows, place) {
    var low = -Infinity, high = Infinity, seen = 0;
    rows.forEach(function (row) {
      var cell = row.cells[place];
      if (!cell.hasAttribute("data-v")) { return; }
      seen += 1;
      if (cell.hasAttribute("data-lo")) { low = Math.max(low, Number(cell.getAttribute("data-lo"))); }
      if (cell.hasAttribute("data-hi")) { high = Math.min(high, Number(cell.getAttribute("data-hi"))); }
    });
    return seen > 1 && low > high;
  }

  function sift(box, number) {
    var table = box.querySelector("table"), bar = made("div", "", "sifter"), status = made("p", "", "sifted"), chosen = {}, unlike = null;
    var rows = [], fixed = [];
    list(table.tBodies).forEach(function (body) { (body.hasAttribute("data-fixed") ? fixed : rows).push.apply(body.hasAttribute("data-fixed") ? fixed : rows, list(body.rows)); });
    status.setAttribute("role", "status");
    function fits(row, name) {
      var value = row.getAttribute("data-" + name), wanted = chosen[name].value;
      return wanted === "*" || value === wanted || (name === "channel" && value === "mono");
    }
    function apply(extra) {
      var shown, hidden = [], headings = table.tHead.rows[0].cells;
      rows.concat(fixed).forEach(function (row) {
        row.hidden = !Object.keys(chosen).every(function (name) {
          return (fixed.indexOf(row) >= 0 && name !== "channel") || fits(row, name);
        });
      });
      shown = rows.filter(function (row) { return !row.hidden; });
      list(headings).forEach(function (heading, place) {
        var away = Boolean(unlike && unlike.checked && place && shown.length > 1 && !differs(shown, place));
        if (away) { hidden.push(heading.textContent.trim()); }
        heading.hidden = away;
        rows.concat(fixed).forEach(function (row) { row.cells[place].hidden = away; });
      });
      box.classList.toggle("one-channel", Boolean(chosen.channel && chosen.channel.value !== "*"));
      status.textContent = shown.length + " of " + rows.length + " rows shown." +
        (hidden.length ? " Left out, because the rows shown cannot be told apart in it: " + hidden.length + " of " + (headings.length - 1) + " columns." : "") + (extra ? " " + extra : "");
    }
    sortable(table, apply);
    if (rows.length > 3) {
      (box.getAttribute("data-filters") || "").split(",").forEach(function (item) {
        var name = item.split(":")[0], values = [], label, select;
        rows.forEach(function (row) {
          var value = row.getAttribute("data-" + name);
          if (values.indexOf(value) < 0) { values.push(value); }
        });
        if (values.length < 2) { return; }
        label = made("label", item.split(":")[1] + " ");
        select = made("select");
        select.id = "sift-" + number + "-" + name;
        label.htmlFor = select.id;
        select.appendChild(new Option("all", "*"));
        values.forEach(function (value) {
          var none = name === "fix" ? "without" : SAID[""];
          select.appendChild(new Option(value === "" ? none : SAID[value] || value, value));
        });
        if (values.indexOf("worse") >= 0) { select.value = "worse"; }
        label.appendChild(select);
        bar.appendChild(label);
        chosen[name] = select;
        select.addEventListener("change", function () { apply(); });
      });
      if (box.hasAttribute("data-unlike")) {
        var label = made("label", "", "check");
        unlike = made("input");
        unlike.type = "checkbox"; unlike.id = "sift-" + number + "-unlike"; label.htmlFor = unlike.id;
        label.appendChild(unlike);
        label.appendChild(document.createTextNode(" " + box.getAttribute("data-unlike")));
        unlike.addEventListener("change", function () { apply(); });
        bar.appendChild(label);
      }
      bar.setAttribute("role", "group");
      bar.setAttribute("aria-label", "Choose the rows to show");
      box.insertBefore(bar, box.firstChild);
      box.insertBefore(status, bar.nextSibling);
    }
    apply();
  }
  list(document.querySelectorAll(".sift")).forEach(sift);

  /* Long tables are made when they are opened: thousands of rows would make the page slow for nothing. */
  var store = document.getElementById("number-data");
  if (store) {
    var data = JSON.parse(store.textContent);
    list(document.querySelectorAll("details[data-numbers]")).forEach(function (details) {
      details.addEventListener("toggle", function () {
        var part = data.parts[Number(details.getAttribute("data-numbers"))], wrap, table, head, body;
        if (!details.open || details.querySelector("table")) { return; }
        wrap = made("div", "", "scroll");
        wrap.tabIndex = 0;
        wrap.setAttribute("role", "group");
        wrap.setAttribute("aria-label", details.querySelector("summary").textContent);
        table = made("table", "", "numbers stack");
        head = table.createTHead().insertRow();
        ["What"].concat(part.columns, ["Takes"]).forEach(function (words, place) {
          var cell = made("th", words, place ? "num" : "");
          cell.scope = "col";
          head.appendChild(cell);
        });
        part.blocks.forEach(function (block) {
          var title = made("tr", "", "quantity"), cell = made("th", block[0]);
          body = table.appendChild(made("tbody"));
          cell.scope = "rowgroup"; cell.colSpan = part.columns.length + 2;
          title.appendChild(cell); body.appendChild(title);
          block[1].forEach(function (row) {
            var line = body.insertRow(), name = made("th", row[0]);
            name.scope = "row"; line.appendChild(name);
            row.slice(2).forEach(function (shown, place) {
              var column = line.insertCell();
              column.className = shown ? "num" : "num empty";
              column.setAttribute("data-label", part.columns[place]);
              (shown ? [].concat(shown) : ["–"]).forEach(function (words, i) { column.appendChild(made("span", words, i ? "interval" : shown ? "" : "soft")); });
            });
            var takes = line.insertCell();
            takes.className = "num soft"; takes.setAttribute("data-label", "Takes");
            takes.appendChild(made("span", row[1]));
          });
        });
        wrap.appendChild(table);
        details.appendChild(wrap);
      });
    });
  }
}());
