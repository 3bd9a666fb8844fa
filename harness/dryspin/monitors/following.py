"""How the firmware follows the rotor in RUN: its steps, what it senses, the crossings it takes."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from dryspin.monitors.evidence import LEG_COLUMNS, Evidence, Floats
from dryspin.recording import LEGS, Mark, Signal
from dryspin.recording.sixstep import NO_STEP, STEP_OF_CODE, leg_code
from dryspin.recording.timeline import Ints, merge

Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Running:
    """The steps taken in RUN, or in RAMP. The first of each, of the handover, is left out of `later`.

    run        number of the run each step belongs to, -1 outside
    direction  of each run: that of most of its moves, 0 where there is none
    later      indices of steps with a predecessor in the same run
    move       from the predecessor to each of `later`
    """

    run: Ints
    direction: Ints
    later: Ints
    move: Ints

    def direction_of(self, steps: Ints) -> Ints:
        """Direction of the run of each of `steps` (indices)."""
        return self.direction[self.run[steps]]


def running(evidence: Evidence) -> Running:
    """Steps in RUN, by run."""
    return _turning(evidence, Mark.RUN)


def ramping(evidence: Evidence) -> Running:
    """Steps in RAMP, by ramp: a start by the clock that turns the rotor or is to."""
    return _turning(evidence, Mark.RAMP)


def _turning(evidence: Evidence, mark: Mark) -> Running:
    steps = evidence.recording.steps
    spans = evidence.spans_of(mark)
    run = np.full(len(steps), -1, np.int64)
    for k, span in enumerate(spans):
        first, last = np.searchsorted(steps.cycles, (span.start, span.stop))
        run[first:last] = k
    later = np.flatnonzero((run[1:] >= 0) & (run[1:] == run[:-1])) + 1
    move = steps.moves[later - 1]
    single = np.where(np.abs(move) == 1, move, 0)
    direction = np.sign(np.bincount(run[later], weights=single, minlength=len(spans))).astype(np.int64)
    return Running(run, direction, later, move)


def torn_out(evidence: Evidence, times_s: Floats) -> Bools:
    """Which moments come after the rotor was jammed in the same RUN, or while it is held from outside.

    A propeller heavier than the drive is declared for takes the rotor out of step whatever the firmware
    does; until it says RUN anew, there is no right angle to hold it to. How long it drives such a
    rotor is for the family synchronism to judge. A rotor that is held has no EMF, so no zero of it.
    """
    recording = evidence.recording
    heaviest = recording.drive.load.kq_nm_s2.factors.high * (1.0 + 1e-9)
    points = recording.scenario.load_factor
    # The trace is linear: between two points it can exceed the heaviest only if one of them does.
    jams_s = (
        [
            (early_s, late_s)
            for (early_s, early), (late_s, late) in pairwise((*points, (recording.end_s, points[-1][1])))
            if max(early, late) > heaviest
        ]
        if points
        else []
    )
    held = recording.scenario.speed_rpm
    torn = np.zeros(len(times_s), bool)
    if held:
        at_s, rpm = np.array(held, np.float64).T
        torn = np.abs(np.interp(times_s, at_s, rpm)) < evidence.limits["rest_rpm"]
    for span in evidence.spans_of(Mark.RUN) if jams_s else ():
        start_s, stop_s = float(recording.seconds(span.start)), float(recording.seconds(span.stop))
        hits = [max(early_s, start_s) for early_s, late_s in jams_s if early_s < stop_s and late_s > start_s]
        if hits:
            torn |= (times_s >= min(hits)) & (times_s <= stop_s)
    return torn


@dataclass(frozen=True, slots=True)
class Sensing:
    """Moments between changes of legs, sense selection and mark, in RUN with the interrupt on."""

    cycles: Ints
    ends: Ints
    rows: Ints
    step: Ints
    leg: Ints
    edge: Ints
    run: Ints


def sensing(evidence: Evidence) -> Sensing:
    """What was sensed, while the interrupt was on and a six-step pattern was driven in RUN."""
    recording = evidence.recording
    signals = (*LEGS, Signal.SENSE_LEG, Signal.SENSE_EDGE, Signal.SENSE_IRQ)
    line = merge([*(recording.of(signal) for signal in signals), evidence.mark_stream], recording.end_cycle)
    step = STEP_OF_CODE[leg_code(line.values[:, LEG_COLUMNS])].astype(np.int64)
    leg, edge, irq, mark = line.values[:, 3:7].T
    starts = np.array([span.start for span in evidence.spans_of(Mark.RUN)], np.int64)
    run = np.searchsorted(starts, line.cycles, side="right") - 1
    on = (mark == Mark.RUN) & (irq == 1) & (step != NO_STEP)
    # Rows outside stay in, with step NO_STEP: a stretch must not seem to go on across them.
    return Sensing(line.cycles, line.ends, line.rows, np.where(on, step, NO_STEP), leg, edge, run)


def crossing_marks(evidence: Evidence) -> tuple[Ints, Ints, Ints]:
    """Crossings taken in RUN: (cycles, rows, number of the run)."""
    cycles, values, rows = evidence.recording.of(Signal.MARK)
    taken = values == Mark.CROSSING
    cycles, rows = cycles[taken], rows[taken]
    spans = evidence.spans_of(Mark.RUN)
    run = np.searchsorted(np.array([span.start for span in spans], np.int64), cycles, side="right") - 1
    stops = np.array([span.stop for span in spans], np.int64)
    inside = (run >= 0) & (cycles < stops[run]) if len(spans) else np.zeros(len(cycles), bool)
    return cycles[inside], rows[inside], run[inside]
