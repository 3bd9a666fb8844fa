"""Lanes as a drawing that needs no script: SVG by matplotlib, its colours left to the page's style sheet.

Where there are more points than columns, each column shows the least and the largest value in it. All lanes
share one pair of axes: each has its own piece of the height, to which its values are scaled.
"""

from typing import Final

import numpy as np

from dryspin.plant.terminals import Floats
from dryspin.recording.signals import HIGH_FET, LEG_NAMES, LOW_FET
from dryspin.report.sheet.canvas import ALARM, DENSE, GRID, LINE, PAPER, SOFT, Row, Sheet, bare, svg_text
from dryspin.report.sheet.clock import Clock
from dryspin.report.sheet.columns import (
    COLUMNS,
    View,
    in_view,
    level_columns,
    looks_in_view,
    spans_in_view,
)
from dryspin.report.sheet.curves import band, curves
from dryspin.report.sheet.edges import Edges, Ints, is_taken
from dryspin.report.sheet.lanes import Curves, Lanes

_HEIGHTS: Final = {"levels": 0.4, "words": 0.36, "ticks": 0.36, "looks": 0.6, "legs": 0.62, "curves": 1.2}
_GAP: Final = 0.2
_TOP: Final = 0.4
"""Room above the lanes, for the limit as a stretch of time."""

_WIDTH_IN, _LANE_IN = 11.0, 0.52
_TITLE_COLUMNS, _LETTER_COLUMNS = 7.0, 5.4
"""Room around a word, and for each of its letters, in columns."""


def still(lanes: Lanes, from_s: float, to_s: float, title: str, salt: str, clock: Clock | None = None) -> str:
    """An <svg> of all lanes between two moments, the limit above them. `salt` keeps its ids apart."""
    import matplotlib as mpl
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    view = View(max(from_s, 0.0), min(to_s, lanes.end_s))
    shown = [lane for lane in lanes.lanes if isinstance(lane, Curves) or len(lane.cycles)]
    total = sum(_HEIGHTS[_kind(lane)] + _GAP for lane in shown)
    tall_in = _LANE_IN * (total + _TOP) + 0.6
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
        sheet = Sheet(axis, lanes, view)
        foot = total
        for lane in shown:
            foot -= _HEIGHTS[_kind(lane)] + _GAP
            _lane(sheet, lane, foot + _GAP / 2.0)
            axis.axhline(foot, color=GRID, linewidth=0.4, zorder=0.5)
        if view.from_s <= lanes.moment_s <= view.to_s:
            axis.axvline(lanes.moment_s, color=ALARM, linewidth=1.0)
        if clock is not None:
            _limit(sheet, clock, total)
        axis.set_xlim(view.from_s, view.to_s)
        axis.set_ylim(0.0, total + _TOP)
        axis.set_yticks([y for y, _ in sheet.ticks], [text for _, text in sheet.ticks])
        axis.set_xlabel("s from power-on", color=SOFT)
        axis.ticklabel_format(axis="x", useOffset=False)
        bare(axis, "x")
        axis.tick_params(axis="y", colors=SOFT, labelsize=6, length=2)
        return svg_text(figure, title)


def _kind(lane: Edges | Curves) -> str:
    if isinstance(lane, Curves):
        return "curves"
    if lane.key == "sense":
        return "looks"
    return "legs" if lane.kind == "levels" and lane.words else lane.kind


def _limit(sheet: Sheet, clock: Clock, foot: float) -> None:
    """The limit from where its clock starts, and what it is, above all lanes."""
    view = sheet.view
    from_s, to_s = max(clock.from_s, view.from_s), min(clock.to_s, view.to_s)
    if to_s <= from_s:
        return
    sheet.axis.broken_barh(
        [(from_s, max(to_s - from_s, view.column_s))],
        (foot + 0.06, 0.08), facecolor=ALARM, edgecolor="none",
    )  # fmt: skip
    end = from_s > 0.5 * (view.from_s + view.to_s)
    sheet.axis.text(
        to_s if end else from_s, foot + 0.18, clock.text, color=ALARM, fontsize=6.5, va="bottom",
        ha="right" if end else "left", parse_math=False,
    )  # fmt: skip


def _lane(sheet: Sheet, lane: Edges | Curves, foot: float) -> None:
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
        curves(sheet, lane, foot, height)
    elif kind == "ticks":
        _ticks(sheet, lane, Row(foot, height))
    elif kind == "looks":
        _looks(sheet, lane, Row(foot, height, 0.0, 3.0))
    elif kind == "words":
        _words(sheet, lane, Row(foot, height))
    else:
        _levels(sheet, lane, Row(foot, height, -1.0) if kind == "legs" else Row(foot, height))


def _word(sheet: Sheet, text: str, from_s: float, to_s: float, y: float) -> None:
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


def _levels(sheet: Sheet, lane: Edges, row: Row) -> None:
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
        band(sheet, *level_columns(t_s, values, view), LINE)
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


def _words(sheet: Sheet, lane: Edges, row: Row) -> None:
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


def _looks(sheet: Sheet, lane: Edges, row: Row) -> None:
    """The phase that is looked at in a row of its own: above its middle a rising edge, below a falling one.

    A block while the edge's interrupt is on, a thin line while it is off.
    """
    for leg, name in enumerate(LEG_NAMES):
        middle = 2.5 - leg
        sheet.ticks.append((row.at(middle), name))
        sheet.axis.axhline(row.at(middle), color=GRID, linewidth=0.4, zorder=0.5)
    for look in looks_in_view(lane, sheet.lanes, sheet.view):
        tall = 0.42 if look.on else 0.1
        foot = 2.5 - look.leg - (0.0 if look.rises else tall)
        spans = [(begin_s, end_s - begin_s) for begin_s, end_s in look.spans]
        sheet.axis.broken_barh(
            spans, (row.at(foot), tall * row.height / 3.0), edgecolor="none",
            facecolor=LINE if look.on else DENSE, zorder=2.5 if look.on else 2.0,
        )  # fmt: skip


def _ticks(sheet: Sheet, lane: Edges, row: Row) -> None:
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
