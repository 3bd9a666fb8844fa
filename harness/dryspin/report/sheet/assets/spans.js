/* Lanes whose values last: words in frames, and the sense selection as blocks. */
"use strict";
const Spans = (() => {
  /* Between which pixels words may stand: in the lane, and where a long run's edges are kept. */
  function room(u, box, from, scale) {
    const [first, last] = u.run.edges_s.map((t) => box.left + (t - from) * scale);
    return [Math.max(box.left, first), Math.min(box.left + box.width, last)];
  }

  /* Words: a frame with the word where it fits; spans too short for that become one dense grey piece. */
  function words(u, lane, from, to) {
    Draw.inPlot(u, (ctx, box) => {
      const scale = box.width / (to - from), ratio = uPlot.pxRatio;
      const most = room(u, box, from, scale);
      const top = box.top + 0.12 * box.height, tall = 0.76 * box.height;
      const n = lane.t.length;
      ctx.font = Draw.font(u);
      ctx.textBaseline = "middle";
      ctx.strokeStyle = Draw.colour("--line");
      ctx.lineWidth = ratio;
      let dense = null;
      const flush = () => {
        if (dense === null) return;
        ctx.fillStyle = Draw.colour("--dense");
        ctx.fillRect(dense[0], top + 0.2 * tall, Math.max(dense[1] - dense[0], ratio), 0.6 * tall);
        dense = null;
      };
      for (let k = Math.max(Data.after(lane.t, from) - 1, 0); k < n && lane.t[k] < to; k++) {
        const word = lane.words[lane.values[k]];
        if (!word) continue;
        const begin = box.left + (lane.t[k] - from) * scale;
        const end = box.left + ((k + 1 < n ? lane.t[k + 1] : u.run.end_s) - from) * scale;
        if (end - begin < 3 * ratio) {
          if (dense !== null && begin - dense[1] < 2 * ratio) dense[1] = end;
          else { flush(); dense = [begin, end]; }
          continue;
        }
        flush();
        ctx.strokeRect(begin, top, end - begin, tall);
        const left = Math.max(begin, most[0]) + 4 * ratio, right = Math.min(end, most[1]);
        /* Of a step its number alone, where its legs have no room. */
        const fits = (text) => ctx.measureText(text).width <= right - left - 2 * ratio;
        const text = [word, lane.key === "step" ? word.split("  ")[0] : word].find(fits);
        if (text) u.labels.push({text, left, right, y: top + tall / 2 + ratio, colour: "--ink"});
      }
      flush();
    });
  }

  /* The sense selection: a row a phase; above its middle a rising edge is awaited, below a falling one. A block
   * while the edge's interrupt is on, however short, a thin line while it is off. Those of one kind that share
   * columns become one; a word where it has room. */
  function sense(u, lane, from, to) {
    Draw.inPlot(u, (ctx, box) => {
      const scale = box.width / (to - from), ratio = uPlot.pxRatio, n = lane.t.length;
      const most = room(u, box, from, scale);
      const row = box.height / 3, half = 0.42 * row, latest = new Map(), blocks = [];
      for (let k = Math.max(Data.after(lane.t, from) - 1, 0); k < n && lane.t[k] < to; k++) {
        const begin = Math.floor(box.left + (Math.max(lane.t[k], from) - from) * scale);
        const end = box.left + ((k + 1 < n ? lane.t[k + 1] : u.run.end_s) - from) * scale;
        const code = lane.values[k], before = latest.get(code);
        if (before && begin - before.end < 2 * ratio) Object.assign(before, {end, alone: false});
        else {
          const block = {code, begin, end, alone: true};
          latest.set(code, block);
          blocks.push(block);
        }
      }
      ctx.font = Draw.font(u);
      /* What is awaited goes over what is only selected. */
      blocks.sort((a, b) => (a.code >> 3) - (b.code >> 3));
      for (const {code, begin, end, alone} of blocks) {
        const middle = Math.round(box.top + (Math.min(code & 3, 2) + 0.5) * row), on = code >> 3;
        const tall = Math.round(on ? half : 2 * ratio), rises = code >> 2 & 1;
        ctx.fillStyle = Draw.colour(on ? "--line" : "--dense");
        ctx.fillRect(begin, rises ? middle - tall : middle, Math.max(end - begin, ratio), tall);
        const word = lane.words[code], left = Math.max(begin, most[0]) + ratio, right = Math.min(end, most[1]);
        if (alone && ctx.measureText(word).width + 9 * ratio < right - left)
          u.labels.push({text: word, left, right, y: middle, colour: "--ink"});
      }
    });
  }

  return {words, sense};
})();
