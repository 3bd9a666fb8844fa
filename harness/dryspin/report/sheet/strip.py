"""Drawings of a whole check: every margin of every claim, and where the scenarios went. SVG by matplotlib."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from dryspin.report.numbers import margin
from dryspin.report.sheet.canvas import ALARM, DENSE, LINE, SOFT, bare, svg_text
from dryspin.search import ClaimResult
from dryspin.search.envelope import JAMMED, Visit

LEAST, MOST = -1.0, 1.5
"""Margins beyond are drawn at the border, as arrow heads with the least or largest of them."""

_STEPS: Final = 400


def margins_drawing(claims: Sequence[ClaimResult]) -> str:
    """One row a claim, one stroke a margin; limits stand at 0, what is broken left of it."""
    import matplotlib as mpl
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    rows = [claim for claim in claims if claim.margins]
    title = "margins of every scenario, by claim"
    with mpl.rc_context({"svg.fonttype": "none", "svg.hashsalt": "margins", "font.size": 8.0}):
        figure = Figure(figsize=(9.0, 0.19 * max(len(rows), 1) + 0.9))
        FigureCanvasSVG(figure)
        axis = figure.subplots()
        for k, claim in enumerate(rows):
            values = np.array(claim.margins)
            inside = values[(values >= LEAST) & (values <= MOST)]
            # strokes closer than a step fall on each other; one of them is drawn
            shown = np.unique(np.round(inside * _STEPS)) / _STEPS
            broken = shown < 0.0
            axis.vlines(shown[~broken], k - 0.3, k + 0.3, color=LINE, linewidth=0.6)
            axis.vlines(shown[broken], k - 0.42, k + 0.42, color=ALARM, linewidth=1.4)
            if np.any(values < LEAST):
                axis.plot([LEAST], [k], marker="<", color=ALARM, markersize=5, clip_on=False)
                axis.text(
                    LEAST + 0.03, k, f"to {margin(float(values.min()))}", color=ALARM, fontsize=7, va="center"
                )
            if np.any(values > MOST):
                axis.plot([MOST], [k], marker=">", color=LINE, markersize=4, clip_on=False)
                most = f"to {margin(float(values.max()))}"
                axis.text(MOST + 0.03, k, most, color=SOFT, fontsize=7, va="center")
        axis.axvline(0.0, color=ALARM, linewidth=1.0, linestyle=(0, (5, 2)))
        axis.set_xlim(LEAST, MOST)
        axis.set_ylim(len(rows) - 0.4, -0.6)
        axis.set_yticks(range(len(rows)), [claim.claim for claim in rows])
        axis.set_xlabel("margin: share of the limit, 0 on it, left of it broken", color=SOFT)
        bare(axis, "both")
        figure.subplots_adjust(
            left=0.27,
            right=0.93,
            top=1.0 - 0.1 / figure.get_figheight(),
            bottom=0.55 / figure.get_figheight(),
        )
        return svg_text(figure, title)


def reach_drawing(visits: Sequence[Visit]) -> str:
    """Supply against propeller, and supply against the fastest rotation either way, one mark a scenario."""
    import matplotlib as mpl
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    title = "supply, propeller and speed that the scenarios reached"
    with mpl.rc_context({"svg.fonttype": "none", "svg.hashsalt": "reach", "font.size": 8.0}):
        figure = Figure(figsize=(9.0, 3.2))
        FigureCanvasSVG(figure)
        load, speed = figure.subplots(1, 2)
        free = [visit for visit in visits if visit.load_factor <= JAMMED]
        supplies_v, factors = [v.supply_v for v in free], [v.load_factor for v in free]
        load.plot(supplies_v, factors, "o", color=LINE, fillstyle="none", markersize=4)
        load.set_xlabel("supply at power-on, V", color=SOFT)
        load.set_ylabel("factor on the propeller's torque", color=SOFT)
        seen = [(visit.supply_v, visit.speeds_rpm) for visit in visits if visit.speeds_rpm is not None]
        for end, marker in ((1, "^"), (0, "v")):
            speed.plot([v for v, _ in seen], [rpm[end] for _, rpm in seen], marker, color=LINE,
                       fillstyle="none", markersize=4)  # fmt: skip
        speed.axhline(0.0, color=DENSE, linewidth=0.8)
        speed.set_xlabel("supply at power-on, V", color=SOFT)
        speed.set_ylabel("fastest rotation each way, rpm", color=SOFT)
        for axis in (load, speed):
            bare(axis, "both")
        figure.subplots_adjust(left=0.08, right=0.98, top=0.96, bottom=0.16, wspace=0.28)
        return svg_text(figure, title)
