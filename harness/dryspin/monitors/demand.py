"""What the stick asks for, measured at the pin and read with the drive's declared throttle.

The firmware measures in ticks, so a pulse within two ticks of a border counts either way: every
property here exists twice, `surely` and `maybe`. An accusation needs a pulse that surely was what
it takes; a defence needs one that maybe was.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryspin.drive import Throttle
from dryspin.monitors.learning import StickRange, learnings
from dryspin.monitors.ranges import Epoch, epochs
from dryspin.recording import Recording

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]

TICK_CYCLES = 8
GUARD_TICKS = 2
"""A width is the difference of two captures, each cut to a whole tick."""

SURE_DEMAND = 1.5
"""A drive may keep a hysteresis of half its dead band, so a demand is sure beyond 1.5 dead bands."""

GAP_S = 0.05
"""A shorter gap between valid pulses is two lost frames; common practice, a servo relaxes after 50 ms."""

FORWARD, NEUTRAL, REVERSE, UNCLEAR = 1, 0, -1, 2

ONE_WAY = "the drive pushes one way, says drive.toml: no stick asks for the other"
"""Why a claim on the other way says nothing."""


@dataclass(frozen=True, slots=True)
class Episode:
    """A stretch in which the stick asked for the same: FORWARD, NEUTRAL, REVERSE or UNCLEAR.

    From the end of the first pulse that asked for it to the end of the first pulse that asked for
    something else, or `GAP_S` after the last one where none followed in time.
    """

    asks: int
    start_s: float
    stop_s: float


@dataclass(frozen=True)
class Demand:
    """Throttle pulses as a drive of this declaration must, or may, understand them.

    falls_s      end of each pulse: nobody can know its width earlier
    widths_us    true ones; heard_us  the same by the controller's clock, which may be off
    invalid      surely no pulse of a transmitter
    valid        surely one; what is neither is within the guard
    neutral      surely valid and inside the dead band; `maybe_neutral` where that may be so
    not_neutral  surely valid and outside the dead band
    forward, reverse  surely asks for that direction; `maybe_...` where that may be so
    """

    falls_s: Floats
    widths_us: Floats
    heard_us: Floats
    invalid: Bools
    valid: Bools
    neutral: Bools
    maybe_neutral: Bools
    not_neutral: Bools
    forward: Bools
    maybe_forward: Bools
    reverse: Bools
    maybe_reverse: Bools

    @property
    def maybe_valid_falls_s(self) -> Floats:
        """Ends of all pulses that may be valid."""
        return self.falls_s[~self.invalid]

    def maybe_falls_s(self, direction: int) -> Floats:
        """Ends of all pulses that may ask for `direction`."""
        return self.falls_s[self.maybe_forward if direction > 0 else self.maybe_reverse]

    def gaps(self, longer_s: float, end_s: float) -> list[tuple[float, float]]:
        """Stretches without a pulse that may be valid, longer than `longer_s`: (last end, next end).

        The stretch before the first pulse is not one of them; the last may end with the recording.
        """
        falls = np.append(self.maybe_valid_falls_s, end_s)
        long = np.flatnonzero(np.diff(falls) > longer_s)
        return [(float(falls[k]), float(falls[k + 1])) for k in long]

    def episodes(self, end_s: float) -> list[Episode]:
        """Stretches of the same demand; surely invalid pulses are nothing, gaps of `GAP_S` end one."""
        asks = np.full(len(self.falls_s), UNCLEAR)
        for mask, value in ((self.neutral, NEUTRAL), (self.forward, FORWARD), (self.reverse, REVERSE)):
            asks[mask] = value
        asks, falls = asks[~self.invalid], self.maybe_valid_falls_s
        if not len(asks):
            return []
        begins = np.flatnonzero(np.append(True, (asks[1:] != asks[:-1]) | (np.diff(falls) > GAP_S)))
        found = []
        for k, first in enumerate(begins):
            last = (begins[k + 1] if k + 1 < len(begins) else len(asks)) - 1
            following = falls[last + 1] if last + 1 < len(falls) else end_s
            stop_s = min(float(following), float(falls[last]) + GAP_S)
            found.append(Episode(int(asks[first]), float(falls[first]), stop_s))
        return found


def read_demand(recording: Recording, in_force: list[Epoch] | None = None) -> Demand:
    """Demand at the throttle pin of `recording`, by `drive.throttle` and the ranges in force."""
    if in_force is None:
        in_force = epochs(recording, learnings(recording))
    throttle, pulses = recording.drive.throttle, recording.pulses
    widths_us = pulses.widths / recording.f_cpu_hz * 1e6
    nominal_hz = recording.drive.controller.f_cpu_hz
    # The controller's idea of a microsecond is off by as much as its clock.
    guard_us = GUARD_TICKS * TICK_CYCLES / nominal_hz * 1e6 + widths_us * abs(
        recording.f_cpu_hz / nominal_hz - 1.0
    )
    inside = np.minimum(widths_us - throttle.valid_low_us, throttle.valid_high_us - widths_us)
    valid, invalid = inside > guard_us, inside < -guard_us
    falls_s: Floats = recording.seconds(pulses.falls)
    # What nobody knows is maybe everything, and surely nothing.
    sure = {name: np.zeros(len(falls_s), bool) for name in ("neutral", "not_neutral", "forward", "reverse")}
    maybe = {name: np.ones(len(falls_s), bool) for name in ("neutral", "forward", "reverse")}
    borders = [epoch.from_s for epoch in in_force[1:]]
    for epoch, from_s, to_s in zip(in_force, [0.0, *borders], [*borders, np.inf], strict=True):
        within = (falls_s >= from_s) & (falls_s < to_s)
        if not epoch.ranges or not np.any(within):
            continue
        readings = [_read(throttle, r, widths_us[within], guard_us[within]) for r in epoch.ranges]
        for name, mask in sure.items():
            mask[within] = np.logical_and.reduce([reading[name] for reading in readings])
        for name, mask in maybe.items():
            mask[within] = np.logical_or.reduce([reading[f"maybe_{name}"] for reading in readings])
    return Demand(
        falls_s=falls_s,
        widths_us=widths_us,
        heard_us=pulses.widths / nominal_hz * 1e6,
        invalid=invalid,
        valid=valid,
        **{name: valid & mask for name, mask in sure.items()},
        **{f"maybe_{name}": ~invalid & mask for name, mask in maybe.items()},
    )


def _read(throttle: Throttle, stick: StickRange, widths_us: Floats, guard_us: Floats) -> dict[str, Bools]:
    """What valid pulses of `widths_us` surely are, and may be, to a drive with this range."""
    guard_us = guard_us + stick.slack_us
    sign = 1.0 if stick.forward_full_us > stick.neutral_us else -1.0
    ahead_us = sign * (widths_us - stick.neutral_us)
    # One way: what lies below the dead band asks for nothing, like what lies in it.
    neutral_by = throttle.dead_band_us - (ahead_us if throttle.one_way else np.abs(ahead_us))
    back_us = np.full(len(ahead_us), -np.inf) if throttle.one_way else -ahead_us
    sure_us = SURE_DEMAND * throttle.dead_band_us + guard_us
    return {
        "neutral": neutral_by > guard_us,
        "not_neutral": neutral_by < -guard_us,
        "forward": ahead_us > sure_us,
        "reverse": back_us > sure_us,
        "maybe_neutral": neutral_by > -guard_us,
        "maybe_forward": ahead_us > throttle.dead_band_us - guard_us,
        "maybe_reverse": back_us > throttle.dead_band_us - guard_us,
    }
