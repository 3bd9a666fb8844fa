"""A recording as named channels: what each signal is called outside, its scope, unit and values.

Times are whole nanoseconds from power-on: finer than a CPU cycle, so that edges in different cycles
stay apart, and a time scale that every viewer knows.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from dryspin.recording import GATES, LEG_NAMES, LEGS, Mark, Recording, Signal
from dryspin.recording.signals import HIGH_FET, LOW_FET
from dryspin.recording.timeline import Ints
from dryspin.units import rpm_from_rad_s
from dryspin.waveforms.terminals import terminal_voltages

Floats = NDArray[np.float64]

NS_PER_S = 1_000_000_000

DIGITS = 4
"""Decimals kept of analog values: 0.1 mA, 0.1 mV, 0.1 mrpm are finer than the model is right."""


class Kind(StrEnum):
    """WIRE one bit; NUMBER a whole number of `bits`; REAL."""

    WIRE = "wire"
    NUMBER = "number"
    REAL = "real"


@dataclass(frozen=True)
class Channel:
    """One signal over time: `values[k]` holds from `t_ns[k]` on. The first value also stands before.

    `name` is unique in a recording and ends in its unit where it has one; `note` says what the values
    mean where the name does not.
    """

    scope: str
    name: str
    kind: Kind
    t_ns: Ints
    values: NDArray[np.int64] | Floats
    bits: int = 1
    note: str = ""


@dataclass(frozen=True)
class Window:
    """The part of a recording that is wanted, s from power-on."""

    from_s: float = 0.0
    to_s: float = float("inf")


_INSIDE = (
    (Signal.DUTY, "duty", Kind.NUMBER, 8, "on-time of the chopped leg, of 255"),
    (Signal.SENSE_LEG, "sense_leg", Kind.NUMBER, 2, "phase the comparator looks at: 0 U, 1 V, 2 W"),
    (Signal.SENSE_EDGE, "sense_edge", Kind.WIRE, 1, "edge waited for: 0 falls below, 1 rises above"),
    (Signal.SENSE_IRQ, "sense_interrupt", Kind.WIRE, 1, ""),
    (Signal.HANDLER, "handler", Kind.NUMBER, 8, "vector of the running handler, 0 = main line"),
    (Signal.STORE_BUSY, "store_busy", Kind.WIRE, 1, ""),
    (Signal.CONVERTER, "converter", Kind.WIRE, 1, "1 while the ADC is on"),
    (Signal.WATCHDOG, "watchdog_ms", Kind.NUMBER, 16, "time-out, 0 = off"),
)
"""What only the rig sees: signal, name, kind, bits, note."""

MARK_NOTE = "state: " + ", ".join(
    f"{mark.value} {mark.name.lower().replace('_', ' ')}" for mark in Mark if mark < 16
)


def channels_of(recording: Recording, window: Window | None = None) -> list[Channel]:
    """Every channel that the recording has, in a fixed order, cut to `window`.

    A channel that begins before the window keeps its value in force at the beginning.
    """
    found = [*_pins(recording), *_inside(recording), *_analog(recording)]
    if window is None:
        return found
    first, last = _ns(window.from_s), _ns(min(window.to_s, recording.end_s))
    return [_cut(channel, first, last) for channel in found]


def end_ns(recording: Recording, window: Window | None = None) -> int:
    """Moment at which the recording, or the window, ends."""
    return _ns(recording.end_s if window is None else min(window.to_s, recording.end_s))


def _ns(t_s: float) -> int:
    return round(t_s * NS_PER_S)


def _edges_ns(recording: Recording, cycles: Ints) -> Ints:
    times: Ints = np.round(cycles * (NS_PER_S / recording.f_cpu_hz)).astype(np.int64)
    return times


def _pins(recording: Recording) -> Iterator[Channel]:
    for leg, signal in zip(LEG_NAMES.lower(), GATES, strict=True):
        cycles, values, _ = recording.of(signal)
        for fet, name in ((HIGH_FET, "high"), (LOW_FET, "low")):
            if len(cycles):
                t_ns, levels = _changes(_edges_ns(recording, cycles), (values & fet != 0).astype(np.int64))
                yield Channel("pins", f"gate_{leg}_{name}", Kind.WIRE, t_ns, levels)
    for signal, name in ((Signal.THROTTLE, "throttle"), (Signal.COMPARATOR, "comparator")):
        cycles, values, _ = recording.of(signal)
        if len(cycles):
            yield Channel("pins", name, Kind.WIRE, *_changes(_edges_ns(recording, cycles), values))
    cycles, causes, _ = recording.of(Signal.RESET)
    if len(cycles):
        note = "of the last start: 1 power-on, 2 reset pin, 4 brown-out, 8 watchdog"
        times = _edges_ns(recording, cycles)
        yield Channel("pins", "reset_cause", Kind.NUMBER, times, causes, 8, note)
        # Two resets of one cause look alike; the recording does not have the level of the pin.
        toggled = np.arange(len(times)) % 2
        yield Channel("pins", "restart", Kind.WIRE, times, toggled, 1, "toggles at each start of the code")


def _inside(recording: Recording) -> Iterator[Channel]:
    note = "as commanded: 0 open, 1 low, 2 high, 3 chopped"
    for leg, signal in zip(LEG_NAMES.lower(), LEGS, strict=True):
        cycles, values, _ = recording.of(signal)
        if len(cycles):
            yield Channel(
                "firmware", f"leg_{leg}", Kind.NUMBER, _edges_ns(recording, cycles), values, 2, note
            )
    cycles, marks, _ = recording.of(Signal.MARK)
    state = marks < Mark.CROSSING
    if np.any(state):
        times = _edges_ns(recording, cycles[state])
        yield Channel("firmware", "mark", Kind.NUMBER, times, marks[state], 8, MARK_NOTE)
    crossing = marks == Mark.CROSSING
    if np.any(crossing):
        # An event has no value to be dumped at the beginning; a level that toggles has.
        times = np.append(0, _edges_ns(recording, cycles[crossing]))
        toggled = np.arange(len(times)) % 2
        yield Channel("firmware", "crossing", Kind.WIRE, times, toggled, 1, "toggles at each crossing taken")
    for signal, name, kind, bits, note in _INSIDE:
        cycles, values, _ = recording.of(signal)
        if len(cycles):
            yield Channel("firmware", name, kind, _edges_ns(recording, cycles), values, bits, note)


def _analog(recording: Recording) -> Iterator[Channel]:
    if not len(recording.states):
        return
    t_s = recording.state_t_s
    t_ns: Ints = np.round(t_s * NS_PER_S).astype(np.int64)
    for name, values in analog_at(recording, t_s).items():
        scope = "rotor" if name in ("speed_rpm", "angle_deg") else "analog"
        yield Channel(scope, name, Kind.REAL, t_ns, values)


def analog_at(recording: Recording, t_s: Floats) -> dict[str, Floats]:
    """Every analog channel by name at each of `t_s`; between recorded states along straight lines."""
    at, states = recording.state_t_s, recording.states
    u, v, bus = (
        np.interp(t_s, at, states[name].astype(np.float64)) for name in ("i_u_a", "i_v_a", "v_bus_v")
    )
    volts = terminal_voltages(recording, t_s)
    columns = {
        "i_u_a": u,
        "i_v_a": v,
        "i_w_a": -(u + v),
        "v_u_v": volts[:, 0],
        "v_v_v": volts[:, 1],
        "v_w_v": volts[:, 2],
        # The mean of three equal resistors, as the sense network makes it.
        "v_neutral_v": volts.mean(axis=1),
        "v_bus_v": bus,
        "speed_rpm": rpm_from_rad_s(1.0) * recording.w_at(t_s),
        "angle_deg": np.degrees(recording.theta_at(t_s)),
    }
    return {name: np.round(values, DIGITS) + 0.0 for name, values in columns.items()}  # no -0


def _changes(t_ns: Ints, values: Ints) -> tuple[Ints, Ints]:
    """Without the rows that repeat the value before them."""
    new = np.ones(len(values), bool)
    new[1:] = values[1:] != values[:-1]
    return t_ns[new], values[new]


def _cut(channel: Channel, first: int, last: int) -> Channel:
    begin = max(int(np.searchsorted(channel.t_ns, first, side="right")) - 1, 0)
    end = max(int(np.searchsorted(channel.t_ns, last, side="right")), begin + 1)
    times = np.maximum(channel.t_ns[begin:end], first)
    return Channel(
        channel.scope,
        channel.name,
        channel.kind,
        times,
        channel.values[begin:end],
        channel.bits,
        channel.note,
    )
