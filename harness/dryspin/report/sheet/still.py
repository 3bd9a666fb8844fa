"""Lanes as a drawing that needs no script: SVG by matplotlib, its colours left to the page's style sheet.

Where there are more points than columns, each column shows the least and the largest value in it. All lanes
share one pair of axes: each has its own piece of the height, to which its values are scaled.
"""

import io
import re
from dataclasses import dataclass, field
from html import escape
from typing import Any, Final

import numpy as np

from dryspin.plant.terminals import Floats
from dryspin.recording.signals import HIGH_FET, LOW_FET
from dryspin.report.sheet.columns import COLUMNS, View, curve_columns, in_view, level_columns, spans_in_view
from dryspin.report.sheet.edges import Edges, Ints, is_taken
from dryspin.report.sheet.lanes import Curves, Lanes

# matplotlib wants colours; the page replaces these by its own, light or dark.
LINE, SECOND, GRID, ALARM, SOFT, DENSE, PAPER = (f"#0{k}0{k}0{k}" for k in range(1, 8))
_VARIABLES: Final = {
    LINE: "var(--line)",
    SECOND: "var(--second)",
    GRID: "var(--grid)",
    ALARM: "var(--alarm)",
    SOFT: "var(--soft)",
    DENSE: "var(--dense)",
    PAPER: "var(--paper)",
}

_HEIGHTS: Final = {"levels": 0.4, "words": 0.36, "ticks": 0.36, "legs": 0.62, "curves": 1.2}
_GAP: Final = 0.2
_WIDTH_IN, _LANE_IN = 11.0, 0.52
_TITLE_COLUMNS, _LETTER_COLUMNS = 7.0, 5.4
"""Room around a word, and for each of its letters, in columns."""


@dataclass
class _Sheet:
    """The axes, and what all lanes add to them together."""

    axis: Any
    lanes: Lanes
    view: View
    ticks: list[tuple[float, str]] = field(default_factory=list)


@dataclass(frozen=True)
class _Row:
    """A lane's piece of the height: `low` of its values stands at `foot`, `high` at `foot` + `height`."""

    foot: float
    height: float
    low: float = 0.0
    high: float = 1.0

    def at(self, value: Any) -> Any:
        """Height of a value."""
        return self.foot + (value - self.low) / (self.high - self.low) * self.height


def still(lanes: Lanes, from_s: float, to_s: float, title: str, salt: str) -> str:
    """An <svg> of all lanes between two moments. `salt` keeps its ids apart from other drawings'."""
    import matplotlib as mpl
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    view = View(max(from_s, 0.0), min(to_s, lanes.end_s))
    shown = [lane for lane in lanes.lanes if isinstance(lane, Curves) or len(lane.cycles)]
    total = sum(_HEIGHTS[_kind(lane)] + _GAP for lane in shown)
    tall_in = _LANE_IN * total + 0.6
    with mpl.rc_context(
        {
            "svg.fonttype": "none",
            "svg.hashsalt": salt,
            "font.size": 8.0,
            "path.simplify": False,
            "hatch.linewidth": 0.6,
        }
    ):
        figure = Figure(figsize=(_WIDTH_IN, tall_in))
        FigureCanvasSVG(figure)
        axis = figure.add_axes((0.15, 0.5 / tall_in, 0.825, 1.0 - 0.55 / tall_in))
        sheet = _Sheet(axis, lanes, view)
        foot = total
        for lane in shown:
            foot -= _HEIGHTS[_kind(lane)] + _GAP
            _lane(sheet, lane, foot + _GAP / 2.0)
            axis.axhline(foot, color=GRID, linewidth=0.4, zorder=0.5)
        if view.from_s <= lanes.moment_s <= view.to_s:
            axis.axvline(lanes.moment_s, color=ALARM, linewidth=1.0)
        axis.set_xlim(view.from_s, view.to_s)
        axis.set_ylim(0.0, total)
        axis.set_yticks([y for y, _ in sheet.ticks], [text for _, text in sheet.ticks])
        axis.set_xlabel("s from power-on", color=SOFT)
        axis.ticklabel_format(axis="x", useOffset=False)
        bare(axis, "x")
        axis.tick_params(axis="y", colors=SOFT, labelsize=6, length=2)
        return svg_text(figure, title)


def bare(axis: Any, grid: str) -> None:
    """No frame, no ground; a thin grid of one or both directions."""
    axis.tick_params(colors=SOFT, labelsize=7)
    axis.patch.set_alpha(0.0)
    axis.set_axisbelow(True)
    axis.grid(True, axis=grid, color=GRID, linewidth=0.5)
    for spine in axis.spines.values():
        spine.set_visible(False)


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


def _lane(sheet: _Sheet, lane: Edges | Curves, foot: float) -> None:
    kind = _kind(lane)
    height = _HEIGHTS[kind]
    label = f"{lane.label}, {lane.unit}" if isinstance(lane, Curves) else lane.label
    place = sheet.axis.get_yaxis_transform()
    sheet.axis.text(
        -0.05,
        foot + height / 2,
        label,
        transform=place,
        ha="right",
        va="center",
        color=LINE,
        parse_math=False,
    )
    if isinstance(lane, Curves):
        _curves(sheet, lane, foot, height)
    elif kind == "ticks":
        _ticks(sheet, lane, _Row(foot, height))
    elif kind == "words":
        _words(sheet, lane, _Row(foot, height))
    else:
        _levels(sheet, lane, _Row(foot, height, -1.0) if kind == "legs" else _Row(foot, height))


def _word(sheet: _Sheet, text: str, from_s: float, to_s: float, y: float) -> None:
    """A word between two moments where there is room; behind the line of the moment, not under it."""
    column_s, moment_s = sheet.view.column_s, sheet.lanes.moment_s
    at_s, long_s = from_s + 4.0 * column_s, (_TITLE_COLUMNS + _LETTER_COLUMNS * len(text)) * column_s
    if at_s - column_s < moment_s < at_s + long_s and moment_s + long_s < to_s:
        at_s = moment_s + 4.0 * column_s
    ground = {"facecolor": PAPER, "edgecolor": "none", "pad": 0.5}
    sheet.axis.text(
        at_s, y, text, color=LINE, fontsize=7, va="center", parse_math=False, bbox=ground, zorder=3.0
    )


# ---- edges -----------------------------------------------------------------------------------------


def _levels(sheet: _Sheet, lane: Edges, row: _Row) -> None:
    axis, view, legs = sheet.axis, sheet.view, bool(lane.words)
    t_s = lane.cycles / sheet.lanes.f_cpu_hz
    heights = row.at(np.array([0.0, 1.0, -1.0, 1.0]) if legs else np.array([0.0, 1.0]))
    values = heights[lane.values]
    inside = in_view(t_s, view)
    if inside.stop - inside.start <= 2 * COLUMNS:
        x = np.append(np.maximum(t_s[inside], view.from_s), view.to_s)
        y = np.append(values[inside], values[inside.stop - 1])
        axis.plot(x, y, drawstyle="steps-post", color=LINE, linewidth=0.9)
    else:
        _band(sheet, *level_columns(t_s, values, view), LINE)
    for from_s, to_s in _both_on(t_s[inside], lane.values[inside], view) if legs else ():
        axis.fill_between([from_s, to_s], row.at(-1.0), row.at(1.0), color=ALARM)
    names = ((-1.0, "low"), (0.0, "off"), (1.0, "high")) if legs else ((0.0, "0"), (1.0, "1"))
    sheet.ticks += [(row.at(value), name) for value, name in names]


def _both_on(t_s: Floats, values: Ints, view: View) -> list[tuple[float, float]]:
    """Stretches with both FETs on: as wide as a column at least, those closer than that as one."""
    found: list[tuple[float, float]] = []
    ends = np.append(t_s[1:], view.to_s)
    for k in np.flatnonzero(values == HIGH_FET | LOW_FET):
        from_s, to_s = float(t_s[k]), max(float(ends[k]), float(t_s[k]) + view.column_s)
        if found and from_s - found[-1][1] < view.column_s:
            found[-1] = found[-1][0], to_s
        else:
            found.append((from_s, to_s))
    return found


def _words(sheet: _Sheet, lane: Edges, row: _Row) -> None:
    """Spans as frames; those shorter than two columns become one dense piece."""
    frames, dense = spans_in_view(lane, sheet.lanes, sheet.view)
    column_s = sheet.view.column_s
    for begin_s, end_s, word in frames:
        if end_s - begin_s > (_TITLE_COLUMNS + _LETTER_COLUMNS * len(word)) * column_s:
            _word(sheet, word, begin_s, end_s, row.at(0.5))
    spans = [(begin_s, end_s - begin_s) for begin_s, end_s, _ in frames]
    sheet.axis.broken_barh(spans, (row.foot, row.height), facecolor="none", edgecolor=LINE, linewidth=0.7)
    spans = [(begin_s, max(end_s - begin_s, column_s)) for begin_s, end_s in dense]
    sheet.axis.broken_barh(spans, (row.at(0.2), 0.6 * row.height), facecolor=DENSE, edgecolor="none")


def _ticks(sheet: _Sheet, lane: Edges, row: _Row) -> None:
    """One stroke a column at most: more cannot be seen. Of crossings, true ones above, those taken below."""
    view, t_s = sheet.view, lane.cycles / sheet.lanes.f_cpu_hz
    inside = (t_s >= view.from_s) & (t_s < view.to_s)
    if lane.key == "crossings":
        taken = is_taken(lane.values)
        parts = [(~taken, 0.55, 1.0), (taken, 0.0, 0.45)]
        sheet.ticks += [(row.at(0.78), "true"), (row.at(0.22), "taken")]
    else:
        parts = [(lane.values >= 0, 0.0, 1.0)]
        free_s = view.from_s
        for moment_s, value in zip(t_s[inside], lane.values[inside], strict=True):
            long_s = (_TITLE_COLUMNS + _LETTER_COLUMNS * len(lane.words[value])) * view.column_s
            if moment_s >= free_s and moment_s + long_s < view.to_s:
                _word(sheet, lane.words[value], moment_s, view.to_s, row.at(0.5))
                free_s = moment_s + long_s
    for mine, low, high in parts:
        moments = t_s[inside & mine]
        moments = moments[np.unique(np.floor((moments - view.from_s) / view.column_s), return_index=True)[1]]
        sheet.axis.vlines(moments, row.at(low), row.at(high), color=LINE, linewidth=0.8)


# ---- curves ----------------------------------------------------------------------------------------


def _curves(sheet: _Sheet, lane: Curves, foot: float, height: float) -> None:
    from matplotlib.ticker import MaxNLocator

    axis, lanes, view = sheet.axis, sheet.lanes, sheet.view
    inside = in_view(lane.t_s, view)
    inside = slice(inside.start, min(inside.stop + 1, len(lane.t_s)))
    known = lanes.complete[0] <= view.from_s and view.to_s <= lanes.complete[1]
    plain = known and inside.stop - inside.start <= 4 * COLUMNS
    drawn = [
        (curve.complete[inside], curve.complete[inside])
        if plain
        else curve_columns(lane.t_s, curve, lanes, view)
        for curve in lane.curves
    ]
    limits = [line.value for line in lane.limits]
    low = min([float(lows.min()) for lows, _ in drawn] + limits)
    high = max([float(highs.max()) for _, highs in drawn] + limits)
    room = max((0.2 if limits else 0.05) * (high - low), 1e-3)
    row = _Row(foot, height, low - room, high + room)
    # a flat line is a value, not its last digits
    ends = (low, high) if high - low > room else (row.low, row.high)
    marks = [value for value in MaxNLocator(nbins=3).tick_values(*ends) if row.low <= value <= row.high]
    axis.hlines(
        [row.at(value) for value in marks], view.from_s, view.to_s, color=GRID, linewidth=0.4, zorder=0.5
    )
    sheet.ticks += [(row.at(value), f"{value:g}") for value in marks]
    for k in range(len(drawn))[::-1]:
        colour, (lows, highs) = (LINE, SECOND)[min(k, 1)], drawn[k]
        if plain:
            style = ("-", "--")[min(k, 1)]
            axis.plot(lane.t_s[inside], row.at(lows), color=colour, linewidth=0.9, linestyle=style)
        else:
            _band(sheet, row.at(lows), row.at(highs), colour, striped=k > 0)
        if len(drawn) > 1:
            y, place = foot + (0.75 - 0.45 * k) * height, axis.get_yaxis_transform()
            axis.text(1.004, y, lane.curves[k].name, transform=place, color=colour, fontsize=7, va="center")
    for line in lane.limits:
        axis.axhline(row.at(line.value), color=ALARM, linewidth=1.0, linestyle=(0, (5, 2)))
        above = line.value > 0.0
        axis.text(
            view.from_s + 3.0 * view.column_s, row.at(line.value) + (0.02 if above else -0.03), line.text,
            color=ALARM, fontsize=6.5, va="bottom" if above else "top", parse_math=False,
        )  # fmt: skip


def _band(sheet: _Sheet, low: Floats, high: Floats, colour: str, striped: bool = False) -> None:
    """From low to high in each column, never thinner than a line; `striped` for a second curve behind."""
    thin = np.maximum(0.025 - (high - low), 0.0) / 2.0
    low, high = low - thin, high + thin
    look = {"color": colour, "linewidth": 0.3}
    if striped:
        look = {"facecolor": "none", "edgecolor": colour, "hatch": "|||||", "linewidth": 0.5}
    sheet.axis.fill_between(
        sheet.view.edges, np.append(low, low[-1]), np.append(high, high[-1]),
        step="post", **look,
    )  # fmt: skip
