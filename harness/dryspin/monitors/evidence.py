"""One recording with the limits of its drive, and what several families derive from both, once."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from dryspin.monitors.demand import Demand, Episode, read_demand
from dryspin.monitors.learning import Learning, learnings
from dryspin.monitors.limits import Limits
from dryspin.monitors.ranges import Epoch, epochs
from dryspin.recording import LEGS, Leg, Mark, Recording, Signal, Span, Timeline
from dryspin.recording.sixstep import leg_code
from dryspin.recording.timeline import Ints, Stream, merge
from dryspin.scenario import linear_value
from dryspin.units import rpm_from_rad_s

Floats = NDArray[np.float64]
T = TypeVar("T")

JOIN_S: Final = 0.01
"""Drive that pauses for less goes on: commutation opens a leg for microseconds, heat sees no 10 ms."""

DECAY_S: Final = 2e-3
"""Some five time constants of a winding, 28 uH in 80 mohm."""

ENERGISED: Final = np.array(
    [
        any((code >> 2 * leg & 3) >= Leg.HIGH for leg in range(3))
        and any((code >> 2 * leg & 3) == Leg.LOW for leg in range(3))
        for code in range(64)
    ]
)
"""Whether a leg code (see `sixstep`) lets the supply push current through the windings."""

ALWAYS_HIGH: Final = np.array(
    [any((code >> 2 * leg & 3) == Leg.HIGH for leg in range(3)) for code in range(64)]
)

LEG_COLUMNS: Final = slice(0, 3)
DUTY_COLUMN: Final = 3
MARK_COLUMN: Final = 4


@dataclass(frozen=True, slots=True)
class DirectedSteps:
    """Steps whose order shows a direction of rotation, while the firmware says RAMP or RUN.

    `direction` is +1 or -1; `start_s`, `stop_s` bound the step; `rows` are edges.
    """

    direction: Ints
    start_s: Floats
    stop_s: Floats
    rows: Ints
    marks: Ints


class Evidence:
    """A recording before the monitors: the recording, the limits, and shared derivations."""

    def __init__(self, recording: Recording, limits: Limits) -> None:
        self.recording = recording
        self.limits = limits
        self._derived: dict[Callable[[Evidence], Any], Any] = {}

    def derive(self, make: Callable[["Evidence"], T]) -> T:
        """What `make` makes of this evidence, made once: for what several claims of a family share."""
        if make not in self._derived:
            self._derived[make] = make(self)
        derived: T = self._derived[make]
        return derived

    @cached_property
    def demand(self) -> Demand:
        """What the stick asks for."""
        return read_demand(self.recording, self.epochs)

    @cached_property
    def learnings(self) -> list[Learning]:
        """Stretches in which the firmware learns the stick's range."""
        return learnings(self.recording)

    @cached_property
    def epochs(self) -> list[Epoch]:
        """The stick's ranges in force, from power-on."""
        return epochs(self.recording, self.learnings)

    @cached_property
    def episodes(self) -> list[Episode]:
        """Stretches of the same demand."""
        return self.demand.episodes(self.recording.end_s)

    @cached_property
    def mark_stream(self) -> Stream:
        """State marks alone, resets included as OFF, to be merged with other signals."""
        spans = np.array([(span.start, span.mark, span.row) for span in self.recording.marks], np.int64)
        spans = spans.reshape(-1, 3)
        return spans[:, 0], spans[:, 1], spans[:, 2]

    @cached_property
    def acts(self) -> Timeline:
        """Legs U, V, W, duty and state mark over time, in this order of columns."""
        recording = self.recording
        streams = [recording.of(signal) for signal in (*LEGS, Signal.DUTY)]
        return merge([*streams, self.mark_stream], recording.end_cycle)

    @cached_property
    def codes(self) -> Ints:
        """Leg code of every row of `acts`."""
        return leg_code(self.acts.values[:, LEG_COLUMNS])

    @cached_property
    def energised(self) -> NDArray[np.bool_]:
        """For every row of `acts`: the supply drives the windings, and nobody calls it a tone."""
        pushed = ENERGISED[self.codes] & (ALWAYS_HIGH[self.codes] | (self.acts.values[:, DUTY_COLUMN] > 0))
        drives: NDArray[np.bool_] = pushed & (self.acts.values[:, MARK_COLUMN] != Mark.TONE)
        return drives

    @cached_property
    def drive_spans(self) -> list[tuple[float, float, int]]:
        """Stretches of drive with pauses below `JOIN_S` left out: (from s, to s, edge that began it)."""
        acts = self.acts
        on = np.flatnonzero(self.energised)
        if not len(on):
            return []
        starts, stops = acts.cycles[on], acts.ends[on]
        breaks = np.flatnonzero(starts[1:] - stops[:-1] > JOIN_S * self.recording.f_cpu_hz)
        first, last = np.append(0, breaks + 1), np.append(breaks, len(on) - 1)
        seconds = self.recording.seconds
        return [
            (float(seconds(starts[a])), float(seconds(stops[b])), int(acts.rows[on[a]]))
            for a, b in zip(first, last, strict=True)
        ]

    @cached_property
    def directed_steps(self) -> DirectedSteps:
        """Steps in RAMP or RUN with the direction in which the firmware takes them.

        A step has the direction of the move that led to it, else of the move from it; moves over
        two steps or half a turn show none.
        """
        recording, steps = self.recording, self.recording.steps
        moves = steps.moves
        near = steps.cycles[1:] - steps.stops[:-1] <= JOIN_S * recording.f_cpu_hz
        shown = np.where(near & (np.abs(moves) == 1), moves, 0)
        direction = np.zeros(len(steps), np.int64)
        direction[:-1] = shown
        direction[1:] = np.where(shown != 0, shown, direction[1:])
        marks = self.marks_at(steps.cycles)
        keep = (direction != 0) & ((marks == Mark.RAMP) | (marks == Mark.RUN))
        return DirectedSteps(
            direction[keep],
            recording.seconds(steps.cycles[keep]),
            recording.seconds(steps.stops[keep]),
            steps.rows[keep],
            marks[keep],
        )

    def marks_at(self, cycles: Ints) -> Ints:
        """State mark in force at each of `cycles`."""
        starts, marks, _ = self.mark_stream
        if not len(starts):
            return np.zeros(len(cycles), np.int64)
        return marks[np.maximum(np.searchsorted(starts, cycles, side="right") - 1, 0)]

    def mark_at_s(self, t_s: float) -> int:
        """State mark in force at `t_s`."""
        return int(self.marks_at(np.array([self.recording.cycle_of(t_s)]))[0])

    def state_behind_tone(self, t_s: float) -> int:
        """State mark in force at `t_s`; during a tone, the one before it."""
        starts, marks, _ = self.mark_stream
        k = int(np.searchsorted(starts, self.recording.cycle_of(t_s), side="right")) - 1
        while k > 0 and marks[k] == Mark.TONE:
            k -= 1
        return int(marks[k]) if k >= 0 else int(Mark.OFF)

    def spans_of(self, *marks: int) -> list[Span]:
        """Spans of any of `marks`, in order."""
        return [span for span in self.recording.marks if span.mark in marks]

    def rpm_at(self, t_s: float) -> float:
        """Rotor speed in rpm, mechanical, forward positive."""
        return rpm_from_rad_s(float(self.recording.w_at(t_s)))

    @cached_property
    def resets_s(self) -> list[float]:
        """Moments of resets after power-on."""
        cycles, _, _ = self.recording.of(Signal.RESET)
        return [float(self.recording.seconds(c)) for c in cycles if c > 0]

    @cached_property
    def looping_s(self) -> list[tuple[float, float]]:
        """Stretches in which the code went round an endless loop, until its reset: nothing that the legs
        do meanwhile is the code's doing, and how long they may is asked by one claim."""
        faults = self.recording.scenario.faults
        return [(f.at_s, self.next_reset_s(f.at_s)) for f in faults if f.kind == "endless loop"]

    @cached_property
    def alive(self) -> NDArray[np.bool_]:
        """For each state of the plant: no endless loop, nor the decay of the current that one let grow."""
        states = np.ones(len(self.recording.state_t_s), bool)
        for from_s, to_s in self.looping_s:
            states[self.recording.states_between(from_s, to_s + DECAY_S)] = False
        return states

    def next_reset_s(self, t_s: float) -> float:
        """First reset after `t_s`, or the end of the recording."""
        return next((moment for moment in self.resets_s if moment > t_s), self.recording.end_s)

    def inside_envelope(self, from_s: float, to_s: float) -> bool:
        """Whether a start may be asked of the drive: supply and propeller as declared, rotor free,
        and no more torque from the water than friction holds."""
        drive, scenario = self.recording.drive, self.recording.scenario
        if scenario.speed_rpm:
            return False
        supply, factors = drive.supply.v_v, drive.load.kq_nm_s2.factors
        moments = {from_s, to_s}
        for trace in (scenario.supply_v, scenario.load_factor, scenario.load_nm):
            moments |= {t for t, _ in trace if from_s < t < to_s}
        hold_nm = drive.load.coulomb_nm.nominal * scenario.parts.get("coulomb", 1.0)
        return all(
            supply.low <= linear_value(scenario.supply_v, t, supply.nominal) <= supply.high
            and linear_value(scenario.load_factor, t, 1.0) <= factors.high
            and abs(linear_value(scenario.load_nm, t, 0.0)) <= hold_nm
            for t in moments
        )
