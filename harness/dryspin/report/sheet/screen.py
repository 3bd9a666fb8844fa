"""What an oscilloscope's screen will show at the bench: both probes over ten divisions, the moment marked."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from dryspin.plant.terminals import Floats
from dryspin.recording import Recording
from dryspin.report.sheet.placement import Probe
from dryspin.report.sheet.probes import trace
from dryspin.report.sheet.still import ALARM, LINE, SOFT, bare, svg_text
from dryspin.report.sheet.terminals import Terminals

DIVISIONS: Final = 10
"""Divisions across a screen, common practice."""

BEFORE: Final = 3
"""Divisions before the moment."""

_COLUMNS: Final = 700


@dataclass(frozen=True)
class Trace:
    """One probe over the window: straight lines between points; `unit` is "" for a level."""

    name: str
    unit: str
    t_s: Floats
    values: Floats


def window_of(moment_s: float, division_s: float) -> tuple[float, float]:
    """From and to (s) of a screen with the moment three divisions from the left."""
    from_s = moment_s - BEFORE * division_s
    return from_s, from_s + DIVISIONS * division_s


@dataclass(frozen=True)
class Screen:
    """The window of `DIVISIONS` divisions around the moment, and what the probes show in it."""

    division_s: float
    moment_s: float
    traces: tuple[Trace, ...]

    @property
    def window(self) -> tuple[float, float]:
        """From and to, s."""
        return window_of(self.moment_s, self.division_s)


def screen_of(
    probes: tuple[Probe, ...], recording: Recording, points: Terminals, moment_s: float, division_s: float
) -> Screen:
    """Both traces, cut to the window; a probe of which the recording tells nothing there has none."""
    empty = Screen(division_s, moment_s, ())
    found = []
    for probe in probes:
        t_s, values, unit = trace(*probe, recording, points, empty.window)
        first, last = np.searchsorted(t_s, empty.window)
        near = slice(max(int(first) - 1, 0), int(last) + 1)
        if len(t_s[near]) > 1:
            found.append(Trace(probe.name, unit, t_s[near], values[near]))
    return Screen(division_s, moment_s, tuple(found))


def columns(one: Trace, from_s: float, to_s: float, count: int = _COLUMNS) -> tuple[Floats, Floats, Floats]:
    """(borders, least, largest) of a trace in `count` columns; nothing between two columns is lost."""
    borders = np.linspace(from_s, to_s, count + 1)
    across = np.interp(borders, one.t_s, one.values)
    low, high = np.minimum(across[:-1], across[1:]), np.maximum(across[:-1], across[1:])
    inside = (one.t_s >= from_s) & (one.t_s < to_s)
    at = np.minimum(((one.t_s[inside] - from_s) / (to_s - from_s) * count).astype(np.int64), count - 1)
    np.minimum.at(low, at, one.values[inside])
    np.maximum.at(high, at, one.values[inside])
    return borders, low, high


def screen_drawing(screen: Screen, salt: str) -> str:
    """An <svg> of the screen, one trace above the other; "" where there is nothing to show."""
    import matplotlib as mpl
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    if not screen.traces:
        return ""
    units = ((1.0, "s"), (1e3, "ms"), (1e6, "us"))
    factor, unit = next((pair for pair in units if screen.division_s * pair[0] >= 1.0), units[-1])
    step = screen.division_s * factor
    from_s, to_s = screen.window
    with mpl.rc_context({"svg.fonttype": "none", "svg.hashsalt": salt, "font.size": 8.0}):
        figure = Figure(figsize=(7.0, 0.5 + 1.3 * len(screen.traces)))
        FigureCanvasSVG(figure)
        axes = figure.subplots(len(screen.traces), 1, sharex=True, squeeze=False)[:, 0]
        for axis, one in zip(axes, screen.traces, strict=True):
            borders, low, high = columns(one, from_s, to_s)
            thin = max(float(high.max() - low.min()), 1e-3) * 0.012
            short = np.maximum(thin - (high - low), 0.0) / 2.0
            x = (borders - screen.moment_s) * factor
            axis.fill_between(
                x, np.append(low - short, low[-1] - short[-1]), np.append(high + short, high[-1] + short[-1]),
                step="post", color=LINE, linewidth=0.3,
            )  # fmt: skip
            axis.axvline(0.0, color=ALARM, linewidth=1.0, linestyle=(0, (5, 2)))
            axis.set_ylabel(f"{one.name}, {one.unit}" if one.unit else one.name, color=SOFT)
            bare(axis, "both")
        axes[-1].set_xlim(-BEFORE * step, (DIVISIONS - BEFORE) * step)
        axes[-1].set_xticks(np.arange(-BEFORE, DIVISIONS - BEFORE + 1) * step)
        axes[-1].set_xlabel(
            f"{unit} from the moment, a division of {step:g} {unit} between lines", color=SOFT
        )
        figure.subplots_adjust(
            left=0.1, right=0.98, top=0.97, bottom=0.42 / figure.get_figheight(), hspace=0.12
        )
        return svg_text(figure, "what the two probes will show")
