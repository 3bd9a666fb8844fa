"""Lanes as a drawing that needs no script: SVG by matplotlib, its colours left to the page's style sheet.

Where there are more points than columns, each column shows the least and the largest value in it.
"""

import io
import re
from dataclasses import dataclass
from html import escape
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from dryspin.report.sheet.lanes import Curves, Edges, Lanes, spans_of

Floats = NDArray[np.float64]

COLUMNS: Final = 700

# matplotlib wants colours; the page replaces these by its own, light or dark.
LINE, SECOND, GRID, ALARM, SOFT, DENSE = (f"#0{k}0{k}0{k}" for k in range(1, 7))
_VARIABLES: Final = {
    LINE: "var(--line)",
    SECOND: "var(--second)",
    GRID: "var(--grid)",
    ALARM: "var(--alarm)",
    SOFT: "var(--soft)",
    DENSE: "var(--dense)",
}

_HEIGHTS: Final = {"levels": 0.5, "words": 0.45, "ticks": 0.45, "legs": 0.8, "curves": 1.5}
_WIDTH_IN: Final = 11.0


@dataclass(frozen=True)
class _View:
    """What is drawn: from and to (s)."""

    from_s: float
    to_s: float

    @property
    def edges(self) -> Floats:
        """Borders of the columns."""
        return np.linspace(self.from_s, self.to_s, COLUMNS + 1)


def still(lanes: Lanes, from_s: float, to_s: float, title: str, salt: str) -> str:
    """An <svg> of all lanes between two moments. `salt` keeps its ids apart from other drawings'."""
    import matplotlib as mpl
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    view = _View(max(from_s, 0.0), min(to_s, lanes.end_s))
    shown = [lane for lane in lanes.lanes if not (isinstance(lane, Edges) and not len(lane.cycles))]
    heights = [_HEIGHTS[_kind(lane)] for lane in shown]
    with mpl.rc_context(
        {"svg.fonttype": "none", "svg.hashsalt": salt, "font.size": 8.0, "path.simplify": False}
    ):
        figure = Figure(figsize=(_WIDTH_IN, 0.45 * sum(heights) + 0.9))
        FigureCanvasSVG(figure)
        axes = figure.subplots(
            len(shown), 1, sharex=True, squeeze=False, gridspec_kw={"height_ratios": heights, "hspace": 0.22}
        )[:, 0]
        for lane, axis in zip(shown, axes, strict=True):
            _dress(axis, lane)
            if isinstance(lane, Edges):
                _edges(axis, lane, lanes, view)
            else:
                _curves(axis, lane, lanes, view)
            if view.from_s <= lanes.moment_s <= view.to_s:
                axis.axvline(lanes.moment_s, color=ALARM, linewidth=1.0)
        axes[-1].set_xlim(view.from_s, view.to_s)
        axes[-1].set_xlabel("s from power-on", color=SOFT)
        axes[-1].tick_params(axis="x", labelbottom=True)
        axes[-1].ticklabel_format(axis="x", useOffset=False)
        figure.subplots_adjust(
            left=0.15,
            right=0.985,
            top=1.0 - 0.1 / figure.get_figheight(),
            bottom=0.5 / figure.get_figheight(),
        )
        return svg_text(figure, title)


def svg_text(figure: Any, title: str) -> str:
    """The figure as an <svg> element for a page, with a name for those who do not see it."""
    out = io.StringIO()
    figure.savefig(out, format="svg", transparent=True, metadata={"Date": None, "Creator": None})
    text = out.getvalue()
    text = text[text.index("<svg") :]
    # A hundredth of a point is finer than any screen; six digits more would double the page.
    text = re.sub(r' d="[^"]*"', lambda path: re.sub(r"(\.\d\d)\d+", r"\1", path[0]), text)
    for colour, variable in _VARIABLES.items():
        text = text.replace(colour, variable)
    name = escape(title, quote=True)
    return text.replace("<svg", f'<svg role="img" aria-label="{name}" class="drawing"', 1)


def _kind(lane: Edges | Curves) -> str:
    if isinstance(lane, Curves):
        return "curves"
    return "legs" if lane.kind == "levels" and lane.words else lane.kind


def _dress(axis: Any, lane: Edges | Curves) -> None:
    label = f"{lane.label}, {lane.unit}" if isinstance(lane, Curves) else lane.label
    axis.set_ylabel(label, rotation=0, ha="right", va="center", color=LINE, labelpad=34)
    axis.tick_params(colors=SOFT, labelsize=6.5, length=2, labelbottom=False)
    axis.patch.set_alpha(0.0)
    axis.grid(True, color=GRID, linewidth=0.4)
    for spine in axis.spines.values():
        spine.set_visible(False)


# ---- edges -----------------------------------------------------------------------------------------


def _edges(axis: Any, lane: Edges, lanes: Lanes, view: _View) -> None:
    t_s = lane.cycles / lanes.f_cpu_hz
    if lane.kind == "ticks":
        _ticks(axis, lane, t_s, view)
    elif lane.kind == "words":
        _words(axis, lane, lanes, view)
    else:
        _levels(axis, lane, t_s, view)


def _levels(axis: Any, lane: Edges, t_s: Floats, view: _View) -> None:
    legs = bool(lane.words)
    place = np.array([0.0, 1.0, -1.0, 1.0]) if legs else np.array([0.0, 1.0])
    values = place[lane.values]
    first = max(int(np.searchsorted(t_s, view.from_s, side="right")) - 1, 0)
    last = int(np.searchsorted(t_s, view.to_s))
    if last - first <= 2 * COLUMNS:
        x = np.append(np.maximum(t_s[first:last], view.from_s), view.to_s)
        y = np.append(values[first:last], values[max(last - 1, first)])
        axis.plot(x, y, drawstyle="steps-post", color=LINE, linewidth=0.9)
    else:
        low, high = _step_columns(t_s, values, view)
        _fill(axis, view.edges, low, high, LINE, 0.04)
    both = np.flatnonzero(lane.values == 3) if legs else np.zeros(0, np.int64)
    for k in both:
        axis.axvspan(t_s[k], t_s[k + 1] if k + 1 < len(t_s) else view.to_s, color=ALARM)
    axis.set_ylim((-1.35, 1.35) if legs else (-0.25, 1.25))
    axis.set_yticks([-1.0, 0.0, 1.0] if legs else [0.0, 1.0], ["low", "off", "high"] if legs else ["0", "1"])


def _step_columns(t_s: Floats, values: Floats, view: _View) -> tuple[Floats, Floats]:
    """Least and largest of a stepping value in each column; what it is at the column's beginning counts."""
    edges = view.edges
    starts = np.searchsorted(t_s, edges[:-1], side="right")
    low = high = values[np.maximum(starts - 1, 0)]
    inside = np.searchsorted(t_s, edges[1:]) > starts
    at = np.minimum(starts, len(values) - 1)
    low = np.where(inside, np.minimum(low, np.minimum.reduceat(values, at)), low)
    high = np.where(inside, np.maximum(high, np.maximum.reduceat(values, at)), high)
    return low, high


def _words(axis: Any, lane: Edges, lanes: Lanes, view: _View) -> None:
    """Spans as frames; those shorter than a column become one dense piece."""
    column_s = (view.to_s - view.from_s) / COLUMNS
    frames: list[tuple[float, float]] = []
    dense: list[list[float]] = []
    end = round(lanes.end_s * lanes.f_cpu_hz)
    for start, stop, value in spans_of(lane, end):
        begin_s, end_s = start / lanes.f_cpu_hz, stop / lanes.f_cpu_hz
        if not lane.words[value] or end_s <= view.from_s or begin_s >= view.to_s:
            continue
        begin_s, end_s = max(begin_s, view.from_s), min(end_s, view.to_s)
        if end_s - begin_s < 2.0 * column_s:
            if dense and begin_s - dense[-1][1] < column_s:
                dense[-1][1] = end_s
            else:
                dense.append([begin_s, end_s])
            continue
        frames.append((begin_s, end_s - begin_s))
        if end_s - begin_s > (7.0 + 5.2 * len(lane.words[value])) * column_s:
            axis.text(
                begin_s + 4 * column_s,
                0.5,
                lane.words[value],
                color=LINE,
                fontsize=7,
                va="center",
                parse_math=False,
            )
    axis.broken_barh(frames, (0.08, 0.84), facecolor="none", edgecolor=LINE, linewidth=0.7)
    axis.broken_barh(
        [(a, max(b - a, column_s)) for a, b in dense], (0.25, 0.5), facecolor=DENSE, edgecolor="none"
    )
    axis.set_ylim(0.0, 1.0)
    axis.set_yticks([])


def _ticks(axis: Any, lane: Edges, t_s: Floats, view: _View) -> None:
    inside = (t_s >= view.from_s) & (t_s < view.to_s)
    column_s = (view.to_s - view.from_s) / COLUMNS
    names = ("taken", "true") if lane.key == "crossings" else ("", "")
    for row, mine in enumerate((lane.values == 0, lane.values != 0)) if names[0] else [(0, lane.values >= 0)]:
        moments = t_s[inside & mine]
        # one tick a column is all that can be seen
        moments = moments[np.unique(np.floor((moments - view.from_s) / column_s), return_index=True)[1]]
        axis.vlines(moments, row, row + 0.8, color=LINE, linewidth=0.7)
    axis.set_ylim(-0.2, 2.0 if names[0] else 1.0)
    axis.set_yticks([0.4, 1.4] if names[0] else [], list(names) if names[0] else [])
    if not names[0]:
        end = -1.0
        for moment, value in zip(t_s[inside], lane.values[inside], strict=True):
            if moment > end:
                axis.text(
                    moment + 3 * column_s, 0.3, lane.words[value], color=LINE, fontsize=7, parse_math=False
                )
                end = moment + (6.0 + 5.2 * len(lane.words[value])) * column_s


# ---- curves ----------------------------------------------------------------------------------------


def _curves(axis: Any, lane: Curves, lanes: Lanes, view: _View) -> None:
    inside = lanes.complete[0] <= view.from_s and view.to_s <= lanes.complete[1]
    first, last = np.searchsorted(lane.t_s, (view.from_s, view.to_s))
    first, last = max(int(first) - 1, 0), int(last) + 1
    low, high = np.inf, -np.inf
    for k in range(len(lane.curves))[::-1]:
        curve, colour = lane.curves[k], (LINE, SECOND)[min(k, 1)]
        if inside and last - first <= 4 * COLUMNS:
            part = curve.complete[first:last]
            axis.plot(
                lane.t_s[first:last], part, color=colour, linewidth=0.9, linestyle=("-", "--")[min(k, 1)]
            )
            low, high = min(low, float(part.min())), max(high, float(part.max()))
        else:
            lows, highs = _columns(lane.t_s, curve, lanes, view)
            _fill(axis, view.edges, lows, highs, colour, 0.012 * max(float(highs.max() - lows.min()), 1e-6))
            low, high = min(low, float(lows.min())), max(high, float(highs.max()))
        if len(lane.curves) > 1:
            axis.annotate(
                curve.name,
                (1.003, 0.72 - 0.4 * k),
                xycoords="axes fraction",
                color=colour,
                fontsize=7,
                va="center",
            )
    for line in lane.limits:
        axis.axhline(line.value, color=ALARM, linewidth=1.0, linestyle=(0, (5, 2)))
        axis.annotate(
            line.text, (0.004, line.value), xycoords=("axes fraction", "data"), color=ALARM, fontsize=6.5,
            va="bottom" if line.value > 0 else "top", parse_math=False,
        )  # fmt: skip
        low, high = min(low, line.value), max(high, line.value)
    room = max((0.2 if lane.limits else 0.06) * (high - low), 1e-3)
    axis.set_ylim(low - room, high + room)
    axis.locator_params(axis="y", nbins=3)


def _columns(t_s: Floats, curve: Any, lanes: Lanes, view: _View) -> tuple[Floats, Floats]:
    """Least and largest value in each column, from the slices and, where it is complete, from the points."""
    edges = view.edges
    n = len(curve.low)
    first = np.clip((edges[:-1] / lanes.slice_s).astype(np.int64), 0, n - 1)
    last = np.clip(np.ceil(edges[1:] / lanes.slice_s - 1e-9).astype(np.int64), first + 1, n)
    low = np.array([curve.low[a:b].min() for a, b in zip(first, last, strict=True)])
    high = np.array([curve.high[a:b].max() for a, b in zip(first, last, strict=True)])
    known = (edges[:-1] >= lanes.complete[0]) & (edges[1:] <= lanes.complete[1])
    if np.any(known) and len(t_s) > 1:
        across = np.interp(edges, t_s, curve.complete)
        for k in np.flatnonzero(known):
            a, b = np.searchsorted(t_s, edges[k : k + 2])
            values = np.concatenate([curve.complete[a:b], across[k : k + 2]])
            low[k], high[k] = values.min(), values.max()
    return low.astype(np.float64), high.astype(np.float64)


def _fill(axis: Any, edges: Floats, low: Floats, high: Floats, colour: str, thick: float) -> None:
    """A band from low to high, never thinner than a line."""
    thin = np.maximum(thick - (high - low), 0.0) / 2.0
    low, high = low - thin, high + thin
    axis.fill_between(
        edges, np.append(low, low[-1]), np.append(high, high[-1]), step="post", color=colour, linewidth=0.3
    )
