"""Lanes of curves in a drawing: lines where there is room for every point, bars elsewhere."""

import numpy as np

from dryspin.plant.terminals import Floats
from dryspin.report.sheet.canvas import ALARM, GRID, LINE, SECOND, Row, Sheet
from dryspin.report.sheet.columns import COLUMNS, curve_columns, in_view
from dryspin.report.sheet.lanes import Curves


def curves(sheet: Sheet, lane: Curves, foot: float, height: float) -> None:
    """Draw the lane into its piece of the height."""
    from matplotlib.ticker import MaxNLocator

    axis, lanes, view = sheet.axis, sheet.lanes, sheet.view
    inside = in_view(lane.t_s, view)
    inside = slice(inside.start, min(inside.stop + 1, len(lane.t_s)))
    plain = lanes.is_complete(view.from_s, view.to_s) and inside.stop - inside.start <= 4 * COLUMNS
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
    row = Row(foot, height, low - room, high + room)
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
            band(sheet, row.at(lows), row.at(highs), colour, striped=k > 0)
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


def band(sheet: Sheet, low: Floats, high: Floats, colour: str, striped: bool = False) -> None:
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
