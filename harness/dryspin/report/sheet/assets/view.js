/* One finding's lanes: uPlot draws axes, curves and the pointer; what lies between two moments is asked of Data. */
"use strict";
class View {
  static SHORTEST_S = 4e-6;

  constructor(section, run) {
    this.section = section;
    this.run = run;
    this.from = 0;
    this.to = run.end_s;
    this.cursors = {A: null, B: null};
    this.active = "A";
    this.fit = false;
    this.hovered = null;
    this.listeners = [];
    this.plots = [];
    this.full = run.lanes.map((lane) => (lane.kind === "curves" ? this.heights(lane, 0, run.end_s) : [0, 1]));
    this.build(section.querySelector(".lanes"));
  }

  build(place) {
    this.place = place;
    const ruler = {key: "ruler", label: "time", kind: "ruler", hint: "s from power-on", words: [], limits: []};
    const lanes = [ruler, ...this.run.lanes];
    this.rows = lanes.map((lane) => {
      const row = document.createElement("div");
      row.className = `row ${lane.kind}`;
      row.dataset.lane = lane.key;
      const name = document.createElement("div"), plot = document.createElement("div");
      name.className = "name";
      plot.className = "plot";
      const hint = [lane.unit, lane.hint].filter(Boolean).join(", ");
      for (const [tag, text] of [["b", lane.label], ["small", hint], ["output", ""]]) {
        const part = document.createElement(tag);
        part.textContent = text;
        name.append(part);
      }
      if (lane.kind === "curves" && lane.curves.length > 1) name.querySelector("output").before(this.key(lane));
      row.append(name, plot);
      place.append(row);
      return {lane, plot, value: name.querySelector("output")};
    });
    const width = this.rows[0].plot.clientWidth;
    this.plots = this.rows.map(({lane, plot}, k) => this.chart(lane, plot, width, k));
    new ResizeObserver(() => {
      const now = this.rows[0].plot.clientWidth;
      if (now <= 0 || now === this.plots[0].width) return;
      this.plots.forEach((u) => u.setSize({width: now, height: u.height}));
      this.show(this.from, this.to);
    }).observe(place);
  }

  /* A piece of each line with its name. */
  key(lane) {
    const key = document.createElement("span");
    key.className = "key";
    lane.curves.forEach((curve) => key.append(document.createElement("i"), curve.name));
    return key;
  }

  chart(lane, plot, width, k) {
    const curves = lane.kind === "curves", ruler = lane.kind === "ruler";
    const ink = () => Draw.colour("--soft"), grid = {stroke: () => Draw.colour("--grid"), width: 1};
    const series = [{}];
    if (curves)
      lane.curves.forEach((_, c) =>
        series.push({
          stroke: () => Draw.colour(c === 0 ? "--line" : "--second"),
          width: c === 0 ? 1.6 : 1.3,
          dash: c === 0 ? [] : [5, 3],
          points: {show: false},
          spanGaps: false,
        }));
    else series.push({show: false});
    const u = new uPlot(
      {
        width,
        height: ruler ? Draw.HEIGHTS.ruler : Draw.height(lane),
        padding: [ruler ? 4 : 3, Draw.RIGHT, 3, curves ? 0 : Draw.LEFT],
        legend: {show: false},
        cursor: {
          sync: {key: this.section.id, setSeries: false},
          drag: {x: true, y: false, setScale: false},
          points: {show: false},
          y: false,
        },
        scales: {
          x: {time: false, range: () => [this.from, this.to]},
          y: {range: () => this.range(k - 1)},
        },
        axes: [
          {
            show: true, side: 0, size: ruler ? 22 : 0, stroke: ink, grid, ticks: {show: ruler, ...grid, size: 4},
            font: "11px system-ui, sans-serif", space: 110, gap: 2,
            values: (_, marks, __, ___, step) => marks.map((t) => (ruler ? this.stamp(t, step) : "")),
          },
          {
            show: curves, size: Draw.LEFT, stroke: ink, grid, ticks: {...grid, size: 3},
            font: "10px system-ui, sans-serif", space: 22, gap: 3,
            values: (_, marks) => marks.map((v) => Data.number(v)),
          },
        ],
        series,
        hooks: {draw: [(self) => this.paint(self, lane)], setCursor: [(self) => this.point(self)],
                setSelect: [(self) => this.select(self)]},
      },
      [[this.from, this.to], ...series.slice(1).map(() => [null, null])],
      plot,
    );
    u.run = this.run;
    u.over.addEventListener("click", (event) => this.click(u, event));
    u.over.addEventListener("wheel", (event) => this.wheel(u, event), {passive: false});
    return u;
  }

  stamp(t, step) {
    let digits = 0;
    while (digits < 9 && Math.abs(step * 10 ** digits - Math.round(step * 10 ** digits)) > 1e-6) digits++;
    return t.toFixed(digits);
  }

  /* ---- heights --------------------------------------------------------------------------------------- */

  heights(lane, from, to) {
    let [low, high] = Data.extent(this.run, lane, from, to);
    if (!(low <= high)) [low, high] = [0, 1];
    for (const limit of lane.limits) [low, high] = [Math.min(low, limit.value), Math.max(high, limit.value)];
    if (lane.key === "bus" || lane.key.startsWith("voltage")) low = Math.min(low, 0);
    const room = Math.max((high - low) * (lane.limits.length ? 0.3 : 0.08), Math.abs(high) * 1e-3, 1e-3);
    return [low - room, high + room];
  }

  range(index) {
    const lane = this.run.lanes[index];
    if (!lane || lane.kind !== "curves") return [0, 1];
    return this.fit ? this.heights(lane, this.from, this.to) : this.full[index];
  }

  /* ---- what is shown --------------------------------------------------------------------------------- */

  show(from, to) {
    const wide = Math.min(Math.max(to - from, View.SHORTEST_S), this.run.end_s);
    const begin = Math.min(Math.max(from + (to - from - wide) / 2, 0), this.run.end_s - wide);
    [this.from, this.to] = [begin, begin + wide];
    this.plots.forEach((u, k) => u.setData(this.data(this.rows[k].lane, u), true));
    Object.assign(this.place.dataset, {from: this.from, to: this.to});
    this.tell();
  }

  /* Points for uPlot where there are fewer than pixels; elsewhere nothing, and `paint` draws bars. */
  data(lane, u) {
    const ends = [this.from, this.to];
    if (lane.kind !== "curves") return [ends, [null, null]];
    u.bars = true;
    const nothing = [ends, ...lane.curves.map(() => [null, null])];
    if (!Data.complete(this.run, this.from, this.to)) return nothing;
    const first = Math.max(Data.after(lane.t, this.from) - 1, 0);
    const last = Math.min(Data.after(lane.t, this.to) + 1, lane.t.length);
    if (last - first > u.width) return nothing;
    u.bars = false;
    return [Array.from(lane.t.subarray(first, last)),
            ...lane.curves.map((curve) => Array.from(curve.complete.subarray(first, last)))];
  }

  paint(u, lane) {
    const {from, to} = this;
    if (lane.kind === "ruler") return Ruler.paint(this, u);
    u.labels = [];
    if (lane.kind === "levels") Draw.levels(u, lane, from, to);
    else if (lane.key === "sense") Spans.sense(u, lane, from, to);
    else if (lane.kind === "words") Spans.words(u, lane, from, to);
    else if (lane.kind === "ticks") Draw.ticks(u, lane, from, to);
    else {
      if (u.bars) Draw.bars(u, lane, from, to);
      Draw.limits(u, lane);
    }
    if (lane.kind !== "curves") Draw.notKept(u, from, to);
    Draw.names(u, lane);
    for (const [t, style] of this.uprights()) Draw.upright(u, t, style);
    Draw.labels(u, this.crossed(u));
    return undefined;
  }

  /* What goes across all lanes: the moment, and the cursors that are set. */
  uprights() {
    const {A, B} = this.cursors, styles = Draw.STYLES;
    return [[this.run.moment_s, styles.moment], [A, styles.A], [B, styles.B]].filter(([t]) => t !== null);
  }

  /* Where they stand, from left to right, in canvas pixels. */
  crossed(u) {
    return this.uprights().map(([t]) => u.valToPos(t, "x", true)).sort((a, b) => a - b);
  }

  /* ---- hands ----------------------------------------------------------------------------------------- */

  /* Where the mouse is, in pixels: the time below it changes with every zoom. */
  point(u) {
    const left = u.cursor.left;
    this.hovered = left === undefined || left < 0 ? null : {u, left};
  }

  get pointer() {
    return this.hovered && this.hovered.u.posToVal(this.hovered.left, "x");
  }

  select(u) {
    if (u.select.width < 4) return;
    const from = u.posToVal(u.select.left, "x"), to = u.posToVal(u.select.left + u.select.width, "x");
    this.plots.forEach((plot) => plot.setSelect({left: 0, top: 0, width: 0, height: 0}, false));
    this.show(from, to);
  }

  /* uPlot swallows the click that ends a drag. */
  click(u, event) {
    const t = u.posToVal(event.clientX - u.over.getBoundingClientRect().left, "x");
    this.setCursor(event.shiftKey ? "B" : this.active, t);
  }

  /* With a key held, so that the page can still be scrolled over the lanes. */
  wheel(u, event) {
    if (!event.shiftKey && !event.ctrlKey) return;
    event.preventDefault();
    const t = u.posToVal(event.clientX - u.over.getBoundingClientRect().left, "x");
    this.zoom((event.deltaY || event.deltaX) > 0 ? 1.5 : 1 / 1.5, t);
  }

  zoom(factor, around = this.centre()) {
    const t = Math.min(Math.max(around, this.from), this.to);
    const wide = Math.max((this.to - this.from) * factor, View.SHORTEST_S);
    const share = (t - this.from) / (this.to - this.from);
    this.show(t - share * wide, t + (1 - share) * wide);
  }

  pan(share) {
    const by = share * (this.to - this.from);
    this.show(this.from + by, this.to + by);
  }

  around(wide, centre = this.centre()) {
    this.show(centre - wide / 2, centre + wide / 2);
  }

  /* Where to look when nobody says: the active cursor if it can be seen, else the moment, else the middle. */
  centre() {
    const seen = (t) => t !== null && t >= this.from && t <= this.to;
    const wanted = [this.cursors[this.active], this.run.moment_s].find(seen);
    return wanted ?? (this.from + this.to) / 2;
  }

  setCursor(name, t) {
    this.cursors[name] = t === null ? null : Math.min(Math.max(t, 0), this.run.end_s);
    this.plots.forEach((u) => u.redraw(false));
    this.tell();
  }

  /* The next edge of a lane after the active cursor (direction 1), or the one before it (-1). */
  toEdge(key, direction) {
    const lane = this.run.lanes.find((one) => one.key === key);
    const from = this.cursors[this.active] ?? this.centre();
    const k = direction > 0 ? Data.after(lane.t, from + 1e-10) : Data.after(lane.t, from - 1e-10) - 1;
    if (k < 0 || k >= lane.t.length) return;
    const t = lane.t[k], [first, last] = this.run.edges_s;
    if (t < first || t > last) return;
    this.setCursor(this.active, t);
    if (t < this.from || t > this.to) this.around(this.to - this.from, t);
  }

  /* Beside the lanes stand the values at A, and of when they are: none of a moment that is not shown. */
  tell() {
    const t = this.cursors.A, shown = t !== null && t >= this.from && t <= this.to;
    for (const {lane, value} of this.rows) {
      if (lane.kind === "ruler") value.textContent = t === null ? "" : shown ? `at A, ${t.toFixed(7)} s` : "A is not shown";
      else value.textContent = shown ? Data.valueAt(this.run, lane, t) : "";
    }
    this.listeners.forEach((listener) => listener(this));
  }
}
