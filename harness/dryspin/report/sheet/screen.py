"""What an oscilloscope's screen will show at the bench: both probes over its divisions, the moment marked."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from dryspin.plant.terminals import Floats
from dryspin.recording import Recording
from dryspin.report.sheet.canvas import ALARM, LINE, SOFT, bare, svg_text
from dryspin.report.sheet.placement import Probe
from dryspin.report.sheet.probes import trace
from dryspin.report.sheet.terminals import Terminals
from dryspin.report.sheet.timebase import DIVISIONS, Base

_FLAT: Final = 0.05
"""Volts, or amperes: the least height that is drawn."""

_COLUMNS: Final = 700


@dataclass(frozen=True)
class Trace:
    """One probe over the window: straight lines between points; `unit` is "" for a level."""

    name: str
    unit: str
    t_s: Floats
    values: Floats


@dataclass(frozen=True)
class Screen:
    """A scope set for a moment, and what the probes show on it up to `end_s`, where the run ends."""

    base: Base
    traces: tuple[Trace, ...]
    end_s: float


def screen_of(probes: tuple[Probe, ...], recording: Recording, points: Terminals, base: Base) -> Screen:
    """The traces, cut to the window; a probe of which the recording tells nothing there has none."""
    found = []
    for probe in probes:
        t_s, values, unit = trace(*probe, recording, points, base.window)
        first, last = np.searchsorted(t_s, base.window)
        near = slice(max(int(first) - 1, 0), int(last) + 1)
        if len(t_s[near]) > 1:
            found.append(Trace(probe.name, unit, t_s[near], values[near]))
    return Screen(base, tuple(found), recording.end_s)


def columns(one: Trace, from_s: float, to_s: float, count: int = _COLUMNS) -> tuple[Floats, Floats, Floats]:
    """(borders, least, largest) of a trace in `count` columns; nothing between two columns is lost.

    NaN where the trace has not begun, or is over.
    """
    borders = np.linspace(from_s, to_s, count + 1)
    across = np.interp(borders, one.t_s, one.values, left=np.nan, right=np.nan)
    low, high = np.fmin(across[:-1], across[1:]), np.fmax(across[:-1], across[1:])
    inside = (one.t_s >= from_s) & (one.t_s < to_s)
    at = np.minimum(((one.t_s[inside] - from_s) / (to_s - from_s) * count).astype(np.int64), count - 1)
    np.fmin.at(low, at, one.values[inside])
    np.fmax.at(high, at, one.values[inside])
    return borders, low, high


def screen_drawing(screen: Screen, salt: str) -> str:
    """An <svg> of the screen, one trace above the other; "" where there is nothing to show."""
    import matplotlib as mpl
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    if not screen.traces:
        return ""
    units = ((1.0, "s"), (1e3, "ms"), (1e6, "us"))
    factor, unit = next((pair for pair in units if screen.base.division_s * pair[0] >= 1.0), units[-1])
    step = screen.base.division_s * factor
    from_s, to_s = screen.base.window
    with mpl.rc_context({"svg.fonttype": "none", "svg.hashsalt": salt, "font.size": 8.0}):
        figure = Figure(figsize=(7.0, 0.5 + 1.3 * len(screen.traces)))
        FigureCanvasSVG(figure)
        axes = figure.subplots(len(screen.traces), 1, sharex=True, squeeze=False)[:, 0]
        for axis, one in zip(axes, screen.traces, strict=True):
            borders, low, high = columns(one, from_s, to_s)
            # what hardly moves is a line, not a band of rounding noise
            span = max(float(np.nanmax(high) - np.nanmin(low)), _FLAT)
            middle, thin = float(np.nanmax(high) + np.nanmin(low)) / 2.0, 0.012 * span
            axis.set_ylim(middle - 0.55 * span, middle + 0.55 * span)
            short = np.maximum(thin - (high - low), 0.0) / 2.0
            x = (borders - screen.base.moment_s) * factor
            axis.fill_between(
                x, np.append(low - short, low[-1] - short[-1]), np.append(high + short, high[-1] + short[-1]),
                step="post", color=LINE, linewidth=0.3,
            )  # fmt: skip
            axis.axvline(0.0, color=ALARM, linewidth=1.0, linestyle=(0, (5, 2)))
            if screen.end_s < to_s:
                axis.axvline((screen.end_s - screen.base.moment_s) * factor, color=SOFT, linewidth=1.0)
            axis.set_ylabel(f"{one.name}, {one.unit}" if one.unit else one.name, color=SOFT)
            bare(axis, "both")
        before = screen.base.before
        axes[-1].set_xlim(-before * step, (DIVISIONS - before) * step)
        axes[-1].set_xticks(np.arange(-before, DIVISIONS - before + 1) * step)
        axes[-1].set_xlabel(
            f"{unit} from {screen.base.word}, a division of {step:g} {unit} between lines"
            + ("; drawn through: the run ends" if screen.end_s < to_s else ""),
            color=SOFT,
        )
        figure.subplots_adjust(
            left=0.1, right=0.98, top=0.97, bottom=0.42 / figure.get_figheight(), hspace=0.12
        )
        return svg_text(figure, "what the two probes will show")
