/* Below the figures of the time line: flags of moment and cursors, and the limit as a stretch of time. */
"use strict";
const Ruler = (() => {
  const ROWS = {moment: 7, cursor: 20};

  function paint(view, u) {
    const {ctx} = u, {A, B} = view.cursors, styles = Draw.STYLES;
    ctx.save();
    ctx.font = Draw.font(u, 11);
    ctx.textBaseline = "middle";
    ctx.textAlign = "left";
    for (const [t, style] of view.uprights()) Draw.upright(u, t, {...style, from: u.bbox.top});
    limit(view, u);
    flag(view, u, view.run.moment_s, view.run.moment_word, styles.moment, ROWS.moment);
    flag(view, u, A, A !== null && A === B ? "A B" : "A", styles.A, ROWS.cursor);
    if (A !== B) flag(view, u, B, "B", styles.B, ROWS.cursor);
    ctx.restore();
  }

  /* Right of its line, or left of it where the lane ends or another line stands; at the border, with an arrow,
   * where its line lies beyond it. */
  function flag(view, u, t, text, style, row) {
    if (t === null) return;
    const {ctx, bbox} = u, ratio = uPlot.pxRatio, clear = 4 * ratio, right = bbox.left + bbox.width;
    const y = bbox.top + bbox.height - row * ratio, x = u.valToPos(t, "x", true);
    ctx.fillStyle = Draw.colour(style.colour);
    if (t < view.from || t > view.to) {
      const words = t < view.from ? `◂ ${text}` : `${text} ▸`;
      Draw.halo(ctx, words, t < view.from ? bbox.left + clear : right - clear - ctx.measureText(words).width, y);
      return;
    }
    const wide = ctx.measureText(text).width, lines = view.crossed(u);
    const free = (left) => !lines.some((line) => line > left - 1 && line < left + wide + 1);
    const [after, before] = [x + clear, x - clear - wide];
    const behind = after + wide < right + 24 * ratio && (free(after) || !free(before) || before < bbox.left);
    Draw.halo(ctx, text, behind ? after : before, y);
  }

  /* From where its clock starts to where it is over; below it what it is. */
  function limit(view, u) {
    const {limit} = view.run, {ctx, bbox} = u, ratio = uPlot.pxRatio;
    if (!limit || limit.to < view.from || limit.from > view.to) return;
    const at = (t) => Math.min(Math.max(u.valToPos(t, "x", true), bbox.left), bbox.left + bbox.width);
    const left = at(limit.from), right = Math.max(at(limit.to), left + 2 * ratio), y = bbox.top + 4 * ratio;
    ctx.fillStyle = Draw.colour("--alarm");
    ctx.fillRect(left, y, right - left, 4 * ratio);
    for (const [t, x] of [[limit.from, left], [limit.to, right - 2 * ratio]])
      if (t >= view.from && t <= view.to) ctx.fillRect(x, y - 3 * ratio, 2 * ratio, 10 * ratio);
    const most = bbox.left + bbox.width - ctx.measureText(limit.text).width;
    Draw.halo(ctx, limit.text, Math.min(left + 4 * ratio, most), y + 13 * ratio);
  }

  return {paint};
})();
