/* How lanes look. Everything is told apart by place, line style and words at the line, never by colour alone. */
"use strict";
const Draw = (() => {
  const HEIGHTS = {curves: 84, levels: 36, legs: 46, words: 44, ticks: 36, crossings: 56, sense: 60, ruler: 74};
  const LEFT = 52, RIGHT = 26;

  /* Asked for thousands of times a drawing; forgotten when the reader changes between light and dark. */
  let known = {};
  const colour = (name) =>
    (known[name] ??= getComputedStyle(document.documentElement).getPropertyValue(name).trim());
  const forget = () => { known = {}; };
  const isLegs = (lane) => lane.kind === "levels" && lane.words.length > 0;
  const kindOf = (lane) => (isLegs(lane) ? "legs" : ["crossings", "sense"].includes(lane.key) ? lane.key : lane.kind);
  const height = (lane) => HEIGHTS[kindOf(lane)];

  /* Names on the left of a lane of edges: [text, height above the lane's foot as a share of it]. */
  function rows(lane) {
    if (isLegs(lane)) return [["high", 0.85], ["off", 0.5], ["low", 0.15]];
    if (lane.kind === "levels") return [["1", 0.8], ["0", 0.2]];
    if (lane.key === "crossings") return [["U", 0.88], ["V", 0.63], ["W", 0.38], ["taken", 0.13]];
    if (lane.key === "sense") return [["U", 0.83], ["V", 0.5], ["W", 0.17]];
    return [];
  }

  function font(u, size = 11) {
    return `${size * uPlot.pxRatio}px system-ui, sans-serif`;
  }

  function inPlot(u, work) {
    const {ctx, bbox} = u;
    ctx.save();
    ctx.beginPath();
    ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height);
    ctx.clip();
    ctx.textAlign = "left";
    work(ctx, bbox);
    ctx.restore();
  }

  /* Levels: in each column the highest and the lowest level that occur in it are joined, so no pulse is lost.
   * Drawn once a column, however many edges fall into it. */
  function levels(u, lane, from, to) {
    inPlot(u, (ctx, box) => {
      const place = isLegs(lane) ? [0.5, 0.85, 0.15, 0.85] : [0.2, 0.8];
      const tops = place.map((share) => Math.round(box.top + box.height * (1 - share)));
      const feet = isLegs(lane) ? [tops[0], tops[1], tops[2], tops[2]] : tops;
      const scale = box.width / (to - from), thick = Math.max(1, Math.round(uPlot.pxRatio));
      const n = lane.t.length, right = Math.ceil(box.left + box.width);
      if (!n) return;
      ctx.fillStyle = colour("--line");
      let k = Math.max(Data.after(lane.t, from) - 1, 0), value = lane.values[k];
      let column = Math.floor(box.left), top = tops[value], foot = feet[value];
      const flush = (next) => {
        ctx.fillRect(column, top, thick, foot - top + thick);
        if (next > column) ctx.fillRect(column, tops[value], next - column, feet[value] - tops[value] + thick);
      };
      for (k++; k < n && lane.t[k] < to; k++) {
        const next = Math.floor(box.left + (lane.t[k] - from) * scale);
        if (next !== column) {
          flush(next);
          column = next;
          [top, foot] = [tops[value], feet[value]];
        }
        value = lane.values[k];
        if (tops[value] < top) top = tops[value];
        if (feet[value] > foot) foot = feet[value];
      }
      flush(right);
    });
  }

  /* Moments. Of crossings: true ones above, one row a phase, upwards or downwards; those taken below. */
  function ticks(u, lane, from, to) {
    inPlot(u, (ctx, box) => {
      const scale = box.width / (to - from), ratio = uPlot.pxRatio;
      const crossings = lane.key === "crossings";
      ctx.font = font(u);
      ctx.textBaseline = "middle";
      ctx.fillStyle = colour("--line");
      let wordEnd = -Infinity;
      for (let k = Data.after(lane.t, from - 1e-12); k < lane.t.length && lane.t[k] < to; k++) {
        const x = Math.round(box.left + (lane.t[k] - from) * scale), code = lane.values[k];
        if (!crossings) {
          ctx.fillRect(x, box.top + 2, 2 * ratio, box.height - 4);
          const next = k + 1 < lane.t.length ? box.left + (lane.t[k + 1] - from) * scale : Infinity;
          const word = lane.words[code], long = ctx.measureText(word).width;
          const left = x + 5 * ratio, right = Math.min(next, box.left + box.width);
          if (x > wordEnd && left + 3 * ratio + long < right) {
            u.labels.push({text: word, left, right, y: box.top + box.height / 2, colour: "--line"});
            wordEnd = left + long;
          }
          continue;
        }
        const taken = code === 0 || code > 6, row = taken ? 3 : (code - 1) >> 1;
        const middle = box.top + (row + 0.5) * box.height / 4, half = 0.42 * box.height / 4;
        if (taken) ctx.fillRect(x, middle - half, 1.5 * ratio, 2 * half);
        else if (code % 2) ctx.fillRect(x, middle - half, 1.5 * ratio, half);
        else ctx.fillRect(x, middle, 1.5 * ratio, half);
        if (code && scale * 2e-4 > 14 * ratio) {
          const word = lane.words[code].split(" ")[1];
          const left = x + 3 * ratio;
          u.labels.push({text: taken ? word : word[1], left, right: left + 40 * ratio, y: middle, colour: "--line"});
        }
      }
    });
  }

  /* Curves where there are more points than pixels, or only slices: one bar a column. */
  function bars(u, lane, from, to) {
    inPlot(u, (ctx, box) => {
      const count = Math.round(box.width), thick = Math.max(1, Math.round(1.5 * uPlot.pxRatio));
      for (let c = lane.curves.length - 1; c >= 0; c--) {
        const [lows, highs] = Data.columns(u.run, lane, lane.curves[c], from, to, count);
        ctx.fillStyle = colour(c === 0 ? "--line" : "--second");
        let before = null;
        for (let x = 0; x < count; x++) {
          if (Number.isNaN(lows[x])) { before = null; continue; }
          const top = Math.round(u.valToPos(highs[x], "y", true) - thick / 2);
          const foot = Math.max(top + thick, Math.round(u.valToPos(lows[x], "y", true) - thick / 2));
          if (c === 0) ctx.fillRect(box.left + x, top, 1, foot - top);
          else striped(ctx, box.left + x, [top, foot], before, thick);
          before = [top, foot];
        }
      }
    });
  }

  /* A column of a curve behind: an outline, joined to that of the column before, and every other stripe filled. */
  function striped(ctx, x, [top, foot], before, thick) {
    const ratio = uPlot.pxRatio, [topBefore, footBefore] = before ?? [top, foot];
    if (x % (4 * ratio) < 2 * ratio) {
      ctx.fillRect(x, top, 1, foot - top);
      return;
    }
    const up = Math.min(top, topBefore), down = Math.max(foot, footBefore);
    if (foot - top > 2 * thick || up < top || down > foot) {
      ctx.fillRect(x, up, 1, Math.max(top, topBefore) - up + thick);
      ctx.fillRect(x, Math.min(foot, footBefore) - thick, 1, down - Math.min(foot, footBefore) + thick);
    }
  }

  /* Where a long run's edges are not kept: neither levels nor nothing, but hatched, and said. */
  function notKept(u, from, to) {
    const [first, last] = u.run.edges_s;
    if (from >= first && to <= last) return;
    inPlot(u, (ctx, box) => {
      const scale = box.width / (to - from), ratio = uPlot.pxRatio, foot = box.top + box.height;
      for (const [begin, end] of [[from, Math.min(first, to)], [Math.max(last, from), to]]) {
        const left = Math.round(box.left + (begin - from) * scale), right = Math.round(box.left + (end - from) * scale);
        if (right <= left) continue;
        ctx.clearRect(left, box.top, right - left, box.height);
        ctx.save();
        ctx.beginPath();
        ctx.rect(left, box.top, right - left, box.height);
        ctx.clip();
        ctx.beginPath();
        for (let x = left - box.height; x < right; x += 9 * ratio) {
          ctx.moveTo(x, foot);
          ctx.lineTo(x + box.height, box.top);
        }
        ctx.strokeStyle = colour("--grid");
        ctx.lineWidth = ratio;
        ctx.stroke();
        ctx.restore();
        const y = box.top + box.height / 2, room = right - left - 16 * ratio;
        ctx.font = font(u);
        const text = ["edges not kept here", "not kept"].find((words) => ctx.measureText(words).width < room);
        if (text) u.labels.push({text, left: left + 8 * ratio, right, y, colour: "--soft"});
      }
    });
  }

  function limits(u, lane) {
    inPlot(u, (ctx, box) => {
      for (const limit of lane.limits) {
        const y = Math.round(u.valToPos(limit.value, "y", true));
        ctx.strokeStyle = colour("--alarm");
        ctx.lineWidth = 1.5 * uPlot.pxRatio;
        ctx.setLineDash([8 * uPlot.pxRatio, 4 * uPlot.pxRatio]);
        ctx.beginPath();
        ctx.moveTo(box.left, y);
        ctx.lineTo(box.left + box.width, y);
        ctx.stroke();
        ctx.setLineDash([]);
        u.labels.push({
          text: limit.text, left: box.left + 4 * uPlot.pxRatio, right: box.left + box.width,
          y: y + (limit.value < 0 ? 9 : -8) * uPlot.pxRatio, colour: "--alarm",
        });
      }
    });
  }

  /* Words last: beside the lines across the lane where there is room, else over them, on a ground of their own. */
  function labels(u, lines) {
    const ratio = uPlot.pxRatio, clear = 4 * ratio;
    inPlot(u, (ctx) => {
      ctx.font = font(u);
      ctx.textBaseline = "middle";
      for (const label of u.labels) {
        const wide = ctx.measureText(label.text).width;
        let left = label.left;
        for (const x of lines)
          if (x > left - clear && x < left + wide + clear) left = x + clear;
        ctx.fillStyle = colour(label.colour);
        halo(ctx, label.text, left + wide <= label.right ? left : label.left, label.y);
      }
    });
  }

  function halo(ctx, text, x, y) {
    ctx.save();
    ctx.lineWidth = 4 * uPlot.pxRatio;
    ctx.lineJoin = "round";
    ctx.strokeStyle = colour("--paper");
    ctx.strokeText(text, x, y);
    ctx.restore();
    ctx.fillText(text, x, y);
  }

  /* A line across the lane: the moment, or a cursor. */
  function upright(u, t, style) {
    const {ctx, bbox} = u, x = Math.round(u.valToPos(t, "x", true));
    if (x < bbox.left || x > bbox.left + bbox.width) return;
    ctx.save();
    ctx.strokeStyle = colour(style.colour);
    ctx.lineWidth = style.width * uPlot.pxRatio;
    ctx.setLineDash(style.dash.map((length) => length * uPlot.pxRatio));
    ctx.beginPath();
    ctx.moveTo(x, style.from ?? bbox.top);
    ctx.lineTo(x, bbox.top + bbox.height);
    ctx.stroke();
    ctx.restore();
  }

  const STYLES = {
    moment: {colour: "--alarm", width: 1.5, dash: []},
    A: {colour: "--ink", width: 1.5, dash: [6, 3]},
    B: {colour: "--ink", width: 1.5, dash: [2, 3]},
  };

  /* Names of rows on the left. */
  function names(u, lane) {
    const {ctx, bbox} = u, ratio = uPlot.pxRatio;
    ctx.save();
    ctx.font = font(u, 10);
    ctx.fillStyle = colour("--soft");
    ctx.textBaseline = "middle";
    ctx.textAlign = "right";
    for (const [text, share] of rows(lane)) ctx.fillText(text, bbox.left - 6 * ratio, bbox.top + bbox.height * (1 - share));
    ctx.restore();
  }

  return {HEIGHTS, LEFT, RIGHT, colour, forget, height, inPlot, levels, ticks, bars, notKept, limits, labels, upright, STYLES, names, font, halo};
})();
