"""What a probe is put to, and what it will show in a stretch of time, measured in a run of the model."""

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from dryspin.plant.parameters import plant_params
from dryspin.plant.terminals import Floats
from dryspin.recording import GATES, LEG_NAMES, Recording, Signal
from dryspin.recording.signals import HIGH_FET, LOW_FET
from dryspin.report.numbers import number, quantity
from dryspin.report.sheet.terminals import Terminals
from dryspin.scenario.schema import OUTAGES

PROBES: Final = {
    "current": "current clamp around the lead of phase {leg}, arrow towards the motor",
    "terminal": "terminal {leg} against ground, 10:1 probe",
    "crossing": (
        "sense divider of phase {leg} against the neutral of the board's resistors, both at the controller's "
        "pins: differential probe, or two 10:1 probes and their difference; the comparator changes where it "
        "passes zero"
    ),
    "bus": "bus at the bulk capacitor against ground, ground lead short",
    "high": "gate of the high FET of leg {leg} against its source: differential probe, never a grounded one",
    "low": "gate of the low FET of leg {leg} against ground, 10:1 probe",
    "throttle": "throttle line against ground",
    "supply": "current clamp around the supply lead, arrow towards the board",
    "sense": "sense divider of phase {leg} against ground, 10:1 probe, at the controller's pin",
}
"""Kind of probe -> where it goes; {leg} is U, V or W."""


def seen(kind: str, leg: str, recording: Recording, points: Terminals, window: tuple[float, float]) -> str:
    """What a probe shows between the ends of the window, from this run of the model."""
    index = LEG_NAMES.index(leg)
    if kind in ("high", "low"):
        return _gate_seen(recording, index, HIGH_FET if kind == "high" else LOW_FET, window)
    if kind == "throttle":
        pulses = recording.pulses
        rises = recording.seconds(pulses.rises)
        widths = pulses.widths[(rises >= window[0]) & (rises < window[1])] * (1e6 / recording.f_cpu_hz)
        if not len(widths):
            return "no pulse begins in this window"
        return f"{len(widths)} pulses of {_range(widths, 'us')}"
    first, last = np.searchsorted(points.t_s, window)
    if last - first < 2:
        return "not measured: the recording has no currents or voltages here"
    _, whole, unit = trace(kind, leg, recording, points, window)
    values = whole[first:last]
    at = int(np.argmax(np.abs(values)))
    return f"{_range(values, unit)}; {quantity(float(values[at]), unit)} at {points.t_s[first + at]:.5f} s"


def trace(
    kind: str, leg: str, recording: Recording, points: Terminals, window: tuple[float, float]
) -> tuple[Floats, Floats, str]:
    """(times in s, values, unit) of a probe, straight in between; levels are 0 and 1.

    Of levels what the window holds, of others what `points` hold, which is the window at least.
    """
    index = LEG_NAMES.index(leg)
    if kind in ("high", "low"):
        cycles, fets, _ = recording.of(GATES[index])
        on = (fets & (HIGH_FET if kind == "high" else LOW_FET)) != 0
        return *_level(recording, cycles, on, window), ""
    if kind == "throttle":
        cycles, levels, _ = recording.of(Signal.THROTTLE)
        return *_level(recording, cycles, levels != 0, window), ""
    if kind == "current":
        return points.t_s, points.currents_a[:, index], "A"
    if kind == "terminal":
        return points.t_s, points.legs_v[:, index], "V"
    if kind == "crossing":
        seen_v = (points.legs_v[:, index] - points.neutral_v) * recording.drive.sense.ratio
        return points.t_s, seen_v, "V"
    if kind == "sense":
        return points.t_s, points.legs_v[:, index] * recording.drive.sense.ratio, "V"
    if kind == "supply":
        return points.t_s, supply_a(recording, points), "A"
    return points.t_s, points.bus_v, "V"


def _level(
    recording: Recording, cycles: NDArray[np.int64], on: NDArray[np.bool_], window: tuple[float, float]
) -> tuple[Floats, Floats]:
    """Two points an edge, before and after it, and one at each end of the window, or of the run inside it."""
    from_s, to_s = max(window[0], 0.0), min(window[1], recording.end_s)
    first, last = np.searchsorted(recording.seconds(cycles), (from_s, to_s))
    t_s = np.concatenate([[from_s], np.repeat(recording.seconds(cycles[first:last]), 2), [to_s]])
    before = on[max(first - 1, 0) :][:1] if len(on) else np.zeros(1, bool)
    return t_s, np.repeat(np.concatenate([before, on[first:last]]), 2).astype(np.float64)


def _range(values: NDArray[Any], unit: str) -> str:
    low, high = float(values.min()), float(values.max())
    return quantity(high, unit) if low == high else f"{number(low)} to {quantity(high, unit)}"


def _gate_seen(recording: Recording, leg: int, fet: int, window: tuple[float, float]) -> str:
    cycles, values, _ = recording.of(GATES[leg])
    on = (values & fet) != 0
    change = np.flatnonzero(np.diff(on.astype(np.int8), prepend=0) != 0)
    edges_s, rises = recording.seconds(cycles[change]), on[change]
    inside = (edges_s >= window[0]) & (edges_s < window[1])
    if not np.any(inside):
        k = int(np.searchsorted(edges_s, window[0]))
        return "stays on" if k and rises[k - 1] else "stays off"
    lengths_us = (np.diff(edges_s) * 1e6)[(inside & rises)[:-1] & inside[1:]]
    long = f", on for {_range(lengths_us, 'us')}" if len(lengths_us) else ""
    return f"goes on {int(np.sum(inside & rises))} x, off {int(np.sum(inside & ~rises))} x{long}"


def supply_a(recording: Recording, points: Terminals) -> Floats:
    """Current from the source (A): what drops between its voltage and the bus; 0 for a stiff one, unknown."""
    params, scenario = plant_params(recording.drive, recording.scenario), recording.scenario
    if params.stiff:
        return np.zeros(len(points.t_s))
    trace = scenario.supply_v or ((0.0, recording.drive.supply.v_v.nominal),)
    source_v = np.interp(points.t_s, [t for t, _ in trace], [v for _, v in trace])
    drawn = (source_v - points.bus_v) / params.r_supply_ohm
    for fault in scenario.faults:
        if fault.kind in OUTAGES:
            away = (points.t_s >= fault.at_s) & (points.t_s <= fault.at_s + fault.for_ms * 1e-3)
            drawn = np.where(away, 0.0, drawn)
    return drawn if params.sinks else np.maximum(drawn, 0.0)
