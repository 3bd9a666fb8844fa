/* The block of arrays, and what a lane shows between two moments. No drawing here. */
"use strict";
const Data = (() => {
  const CYCLE_BYTES = 5;

  async function unpack(base64) {
    const text = atob(base64.trim());
    const packed = new Uint8Array(text.length);
    for (let k = 0; k < text.length; k++) packed[k] = text.charCodeAt(k);
    const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("deflate"));
    return new Uint8Array(await new Response(stream).arrayBuffer());
  }

  /* Byte planes back to numbers; cycles are sums of differences, exact in a double. */
  function numbers(block, entry) {
    const n = entry.n, at = entry.at;
    if (entry.kind === "u1") return block.subarray(at, at + n);
    if (entry.kind === "cycles") {
      const out = new Float64Array(n);
      let sum = 0;
      for (let k = 0; k < n; k++) {
        let step = 0;
        for (let b = CYCLE_BYTES - 1; b >= 0; b--) step = step * 256 + block[at + b * n + k];
        out[k] = sum += step;
      }
      return out;
    }
    const size = Number(entry.kind[1]);
    const bytes = new Uint8Array(n * size);
    for (let b = 0; b < size; b++)
      for (let k = 0, from = at + b * n; k < n; k++) bytes[k * size + b] = block[from + k];
    const Kind = {u2: Uint16Array, f4: Float32Array, f8: Float64Array}[entry.kind];
    return new Kind(bytes.buffer);
  }

  function load(description, block) {
    /* Lanes share their times, and the neutral: an array is unpacked once. */
    const known = new Map();
    const shared = (entry) => {
      const key = `${entry.at} ${entry.n}`;
      if (!known.has(key)) known.set(key, numbers(block, entry));
      return known.get(key);
    };
    const run = {...description, angle: numbers(block, description.angle)};
    run.lanes = description.lanes.map((lane) => {
      if (lane.kind !== "curves") {
        const t = numbers(block, lane.cycles);
        for (let k = 0; k < t.length; k++) t[k] /= run.f_cpu_hz;
        const by = lane.by && numbers(block, lane.by);
        return {...lane, t, values: numbers(block, lane.values), by};
      }
      const curves = lane.curves.map((curve) => ({
        name: curve.name,
        complete: shared(curve.complete),
        low: shared(curve.low),
        high: shared(curve.high),
      }));
      return {...lane, t: shared(lane.t), curves};
    });
    return run;
  }

  /* Index of the first element of t above x. */
  function after(t, x) {
    let low = 0, high = t.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (t[middle] <= x) low = middle + 1; else high = middle;
    }
    return low;
  }

  /* Electrical degrees at a moment, unwrapped; NaN where nobody saw the rotor. */
  function angle(run, t) {
    const n = run.angle.length;
    if (n < 2) return NaN;
    const at = Math.min(Math.max(t / run.angle_step_s, 0), n - 1), k = Math.min(Math.floor(at), n - 2);
    return run.angle[k] + (at - k) * (run.angle[k + 1] - run.angle[k]);
  }

  /* The latest moment of each kind up to t, and how long ago it was. */
  function lastOf(lane, t) {
    const kinds = lane.key === "crossings" ? ["true", "taken"] : [""], found = [];
    for (const kind of kinds) {
      let k = after(lane.t, t + 1e-10) - 1;
      while (k >= 0 && !lane.words[lane.values[k]].startsWith(kind)) k--;
      if (k >= 0) found.push(`${lane.words[lane.values[k]]} ${time(Math.max(t - lane.t[k], 0))} before`);
    }
    return found.join(", ") || "none before";
  }

  /* Whether curves are complete throughout a stretch of time. */
  const complete = (run, from, to) => run.complete.some(([begin, end]) => begin <= from && to <= end);

  /* Value of a lane at a moment as text. */
  function valueAt(run, lane, t) {
    if (lane.kind !== "curves" && (t < run.edges_s[0] || t > run.edges_s[1])) return "edges not kept here";
    if (lane.kind === "ticks") return lastOf(lane, t);
    if (lane.kind !== "curves") {
      if (!lane.t.length) return "never seen";
      const k = Math.max(after(lane.t, t) - 1, 0), value = lane.values[k];
      const word = lane.words.length ? lane.words[value] || "–" : String(value);
      const line = lane.by && lane.t[k] <= t ? lane.lines[lane.by[k]] : "";
      return line ? `${word}, ${line}` : word;
    }
    const inside = complete(run, t, t) && lane.t.length > 1;
    return lane.curves.map((curve) => {
      const name = lane.curves.length > 1 ? curve.name + " " : "";
      if (!inside) {
        const k = Math.min(Math.floor(t / run.slice_s), curve.low.length - 1);
        const low = number(curve.low[k]), high = number(curve.high[k]);
        return `${name}${low === high ? low : `${low} … ${high}`} ${lane.unit}`;
      }
      const k = Math.min(Math.max(after(lane.t, t) - 1, 0), lane.t.length - 2);
      const span = lane.t[k + 1] - lane.t[k];
      const share = span > 0 ? Math.min((t - lane.t[k]) / span, 1) : 1;
      const value = curve.complete[k] + share * (curve.complete[k + 1] - curve.complete[k]);
      return `${name}${number(value)} ${lane.unit}`;
    }).join(", ");
  }

  function time(s) {
    const [factor, unit] = s >= 1 ? [1, "s"] : s >= 1e-3 ? [1e3, "ms"] : [1e6, "us"];
    return `${+(s * factor).toPrecision(4)} ${unit}`;
  }

  function number(value) {
    const size = Math.abs(value);
    if (size < 5e-5) return "0";
    return size >= 1000 ? value.toFixed(0) : String(+value.toPrecision(4));
  }

  /* Least and largest value of a curve over all that is known of it, or over a view. */
  function extent(run, lane, from, to) {
    let low = Infinity, high = -Infinity;
    const take = (values, a, b) => {
      for (let k = a; k < b; k++) {
        if (values[k] < low) low = values[k];
        if (values[k] > high) high = values[k];
      }
    };
    const inside = complete(run, from, to);
    for (const curve of lane.curves) {
      if (inside) {
        take(curve.complete, Math.max(after(lane.t, from) - 1, 0), Math.min(after(lane.t, to) + 1, lane.t.length));
      } else {
        const first = Math.max(Math.floor(from / run.slice_s), 0);
        take(curve.low, first, Math.min(Math.ceil(to / run.slice_s), curve.low.length));
        take(curve.high, first, Math.min(Math.ceil(to / run.slice_s), curve.high.length));
      }
    }
    return [low, high];
  }

  /* Least and largest value in each of `columns` columns of a view: [lows, highs], NaN where nothing is known. */
  function columns(run, lane, curve, from, to, count) {
    const lows = new Float32Array(count).fill(NaN), highs = new Float32Array(count).fill(NaN);
    const width = (to - from) / count;
    const widen = (column, low, high) => {
      if (column < 0 || column >= count) return;
      if (!(lows[column] <= low)) lows[column] = low;
      if (!(highs[column] >= high)) highs[column] = high;
    };
    const n = curve.low.length;
    for (let k = Math.max(Math.floor(from / run.slice_s), 0); k < n && k * run.slice_s < to; k++) {
      const begin = k * run.slice_s, end = Math.min(begin + run.slice_s, run.end_s);
      if (complete(run, begin, end)) continue;
      const first = Math.max(Math.floor((begin - from) / width), 0);
      const last = Math.min(Math.ceil((end - from) / width), count);
      for (let column = first; column < Math.max(last, first + 1); column++) {
        /* what is known better is shown as it is known */
        const middle = from + (column + 0.5) * width;
        if (width < run.slice_s && complete(run, middle, middle)) continue;
        widen(column, curve.low[k], curve.high[k]);
      }
    }
    const t = lane.t, values = curve.complete;
    for (const [inFrom, inTo] of run.complete) {
      const end = Math.min(to, inTo);
      for (let k = Math.max(after(t, Math.max(from, inFrom)) - 1, 0); k + 1 < t.length && t[k] < end; k++) {
        const first = Math.max(Math.floor((t[k] - from) / width), 0);
        const last = Math.min(Math.floor((t[k + 1] - from) / width), count - 1);
        if (last - first < 2) {
          const low = Math.min(values[k], values[k + 1]), high = Math.max(values[k], values[k + 1]);
          for (let column = first; column <= last; column++) widen(column, low, high);
          continue;
        }
        const slope = (values[k + 1] - values[k]) / (t[k + 1] - t[k]);
        for (let column = first; column <= last; column++) {
          const a = values[k] + slope * (Math.max(from + column * width, t[k]) - t[k]);
          const b = values[k] + slope * (Math.min(from + (column + 1) * width, t[k + 1]) - t[k]);
          widen(column, Math.min(a, b), Math.max(a, b));
        }
      }
    }
    return [lows, highs];
  }

  return {unpack, load, after, angle, complete, valueAt, number, extent, columns};
})();
