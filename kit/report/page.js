"use strict";
(function () {
  document.documentElement.classList.add("has-script");
  var csv = document.getElementById("raw-csv").textContent;
  var check = JSON.parse(document.getElementById("check-data").textContent);

  var link = document.getElementById("download");
  link.href = "data:text/csv;charset=utf-8," + encodeURIComponent(csv);
  link.setAttribute("download", link.dataset.name);

  window.addEventListener("beforeprint", function () {
    document.querySelectorAll("figure details").forEach(function (part) { part.open = true; });
  });

  if (!check) { return; }

  /* RFC 4180: fields in double quotes may hold commas, line ends, and doubled quotes. */
  function parseCsv(text) {
    var rows = [], row = [], field = "", quoted = false;
    for (var i = 0; i < text.length; i++) {
      var sign = text[i];
      if (quoted) {
        if (sign === '"' && text[i + 1] === '"') { field += '"'; i++; }
        else if (sign === '"') { quoted = false; }
        else { field += sign; }
      } else if (sign === '"') { quoted = true; }
      else if (sign === ",") { row.push(field); field = ""; }
      else if (sign === "\n") { row.push(field); rows.push(row); row = []; field = ""; }
      else if (sign !== "\r") { field += sign; }
    }
    if (field !== "" || row.length) { row.push(field); rows.push(row); }
    return rows;
  }

  /* The shots analysed: role study, status kept, with a value and a block. */
  function keptShots() {
    var rows = parseCsv(csv), names = rows[0];
    var at = {};
    names.forEach(function (name, place) { at[name] = place; });
    return rows.slice(1).filter(function (row) {
      return row[at.role] === "study" && row[at.status] === "kept" &&
        row[at[check.measure]] !== "" && row[at[check.block]] !== "";
    }).map(function (row) {
      return {
        method: row[at.method],
        block: row[at[check.block]],
        value: Math.floor(Number(row[at[check.measure]]) * check.scale + 0.5)
      };
    });
  }

  function sum(values) { return values.reduce(function (a, b) { return a + b; }, 0); }
  function gcd(a, b) { return b ? gcd(b, a % b) : a; }

  function choose(values, count) {
    if (count === 0) { return [[]]; }
    if (values.length < count) { return []; }
    var rest = values.slice(1);
    return choose(rest, count - 1).map(function (part) { return [values[0]].concat(part); })
      .concat(choose(rest, count));
  }

  /* For each block every value that dealing the labels of a and b anew can give, and the one seen. */
  function dealtBlocks(shots, a, b) {
    var blocks = new Map();
    shots.forEach(function (shot) {
      if (shot.method !== a && shot.method !== b) { return; }
      if (!blocks.has(shot.block)) { blocks.set(shot.block, [[], []]); }
      blocks.get(shot.block)[shot.method === a ? 0 : 1].push(shot.value);
    });
    var meetings = Array.from(blocks.values()).filter(function (pair) {
      return pair[0].length && pair[1].length;
    });
    var common = meetings.reduce(function (lcm, pair) {
      var size = pair[0].length * pair[1].length;
      return lcm / gcd(lcm, size) * size;
    }, 1);
    var seen = 0;
    var dealt = meetings.map(function (pair) {
      var n1 = pair[0].length, n2 = pair[1].length, weight = common / (n1 * n2);
      var values = pair[0].concat(pair[1]), total = sum(values);
      seen += weight * (n2 * sum(pair[0]) - n1 * sum(pair[1]));
      return choose(values, n1).map(function (first) {
        return weight * ((n1 + n2) * sum(first) - n1 * total);
      });
    });
    return { dealt: dealt, seen: seen };
  }

  /* The table of all reachable sums: from the lowest up, in steps of the common divisor. */
  function tableOf(dealt) {
    var lows = dealt.map(function (block) { return Math.min.apply(null, block); });
    var rises = dealt.map(function (block, place) {
      return block.map(function (value) { return value - lows[place]; });
    });
    var step = rises.reduce(function (divisor, block) {
      return block.reduce(function (a, b) { return gcd(a, b); }, divisor);
    }, 0) || 1;
    var highs = rises.map(function (block) { return Math.max.apply(null, block); });
    return { lowest: sum(lows), rises: rises, step: step, length: sum(highs) / step + 1 };
  }

  /* Every dealing, counted: the table is filled block by block. */
  function countAll(dealt, seen) {
    var table = tableOf(dealt), counts = new Float64Array(table.length), filled = 1;
    counts[0] = 1;
    table.rises.forEach(function (block) {
      var longer = new Float64Array(table.length);
      block.forEach(function (rise) {
        var places = rise / table.step;
        for (var i = 0; i < filled; i++) { longer[i + places] += counts[i]; }
      });
      filled += Math.max.apply(null, block) / table.step;
      counts = longer;
    });
    var dealings = dealt.reduce(function (product, block) { return product * block.length; }, 1);
    var atLeast = 0, far = Math.abs(seen);
    for (var i = 0; i < table.length; i++) {
      if (Math.abs(table.lowest + table.step * i) >= far) { atLeast += counts[i]; }
    }
    return { p: atLeast / dealings, exact: true, error: 0 };
  }

  /* 32-bit generator of the xorshift family (Marsaglia 2003), so that the same seed repeats. */
  function generator(seed) {
    var state = (seed >>> 0) || 1;
    return function () {
      state ^= state << 13; state >>>= 0;
      state ^= state >>> 17;
      state ^= state << 5; state >>>= 0;
      return state / 4294967296;
    };
  }

  /* A sample of dealings where they are too many to count; the schedule used counts as one. */
  function sampleSome(dealt, seen) {
    var random = generator(check.seed), hits = 1, far = Math.abs(seen);
    for (var draw = 0; draw < check.draws; draw++) {
      var total = 0;
      for (var k = 0; k < dealt.length; k++) {
        total += dealt[k][Math.floor(random() * dealt[k].length)];
      }
      if (Math.abs(total) >= far) { hits++; }
    }
    var p = hits / (check.draws + 1);
    return { p: p, exact: false, error: Math.sqrt(p * (1 - p) / check.draws) };
  }

  function judge(shots, pair) {
    var found = dealtBlocks(shots, pair.a, pair.b);
    var countable = pair.exact && tableOf(found.dealt).length <= check.mostCells;
    return countable ? countAll(found.dealt, found.seen) : sampleSome(found.dealt, found.seen);
  }

  function verdictOf(result, pair) {
    if (result.exact) { return result.p === pair.p ? "equal to the last digit" : "NOT equal"; }
    var near = Math.abs(result.p - pair.p) <= 3 * result.error + 1 / check.draws;
    return (near ? "agrees" : "does NOT agree") + " within the error of " + check.draws +
      " dealings drawn (±" + (2 * result.error).toPrecision(2) + ")";
  }

  document.getElementById("run-check").addEventListener("click", function () {
    var status = document.getElementById("check-status");
    var shots = keptShots(), agreed = 0, started = performance.now();
    check.pairs.forEach(function (pair, place) {
      var row = document.querySelector('[data-pair="' + place + '"]');
      var result = judge(shots, pair), words = verdictOf(result, pair);
      row.querySelector("[data-p]").textContent = String(result.p);
      row.querySelector("[data-equal]").textContent = words;
      if (words.indexOf("NOT") < 0) { agreed++; }
    });
    status.textContent = agreed + " of " + check.pairs.length + " p values found again from " +
      shots.length + " shots, in " + Math.round(performance.now() - started) + " ms.";
  });
})();
