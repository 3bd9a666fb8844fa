"""Where the limit of a claim lies in time: a deadline has a clock that starts long before the moment.

A monitor names one moment. For some claims it is where the time was over, or where what took too long
ended; for others where something begins that then lasts too long; for angles it is where the rotor was, and
the right place lies before or behind it.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from dryspin.findings import BROKEN, HELD, Outcome
from dryspin.recording import Recording, Signal
from dryspin.recording.sixstep import ideal_start_rad, lateness_rad
from dryspin.report.numbers import quantity
from dryspin.report.sheet.limits import duration_s

DEADLINES: Final = frozenset({
    "startup.in_time", "startup.off_and_said", "startup.tries", "synchronism.recovers", "reversal.in_time",
    "controller.loop_opens", "calibration.completed", "calibration.let_in", "arming.accepted",
})  # fmt: skip
"""Claims whose moment is the end of what was granted, or of what it took where that was less."""

ENDS: Final = frozenset({
    "arming.loss", "arming.lasting", "calibration.leaving", "commutation.direction", "controller.latency",
    "gates.dead_time", "reversal.neutral", "startup.standstill", "synchronism.lost_drive",
})  # fmt: skip
"""Claims whose moment is the end of what lasted too long or not long enough."""

BEGINS: Final = frozenset({
    "commutation.sensed_edge", "commutation.sensed_phase", "gates.high_on_time", "gates.pattern",
    "tones.pulse",
})  # fmt: skip
"""Claims whose moment is where something begins that lasts too long."""

ANGLES: Final = frozenset({"commutation.angle", "commutation.false_crossings"})
"""Claims whose moment is early or late of an angle of the rotor."""

_SLOW_RAD_S: Final = 0.02
"""A rotor slower than that, electrical, has no angle to be early or late of: a degree takes a second."""


_SAME_S: Final = 1e-6


@dataclass(frozen=True)
class Clock:
    """The limit as a stretch of time, from_s to to_s. Its clock starts, or the angle is right, at start_s."""

    start_s: float
    from_s: float
    to_s: float
    text: str

    @property
    def limit_s(self) -> float:
        """How long the limit is."""
        return self.to_s - self.from_s


def led_from_s(outcome: Outcome, clock: Clock | None) -> float | None:
    """When what ended at the moment began; None where the moment is a beginning itself, or of an angle."""
    if clock is None or outcome.moment_s is None or outcome.claim in BEGINS | ANGLES:
        return None
    return clock.start_s if clock.start_s < outcome.moment_s else None


def ran_out(outcome: Outcome, end_s: float) -> bool:
    """Whether what a deadline was granted for had not come when the run ended, at `end_s`.

    A monitor then has seen no more than the rest of the run, which is no measure of how long it takes.
    """
    if outcome.claim not in DEADLINES or outcome.status != BROKEN or outcome.moment_s is None:
        return False
    limit_s, seen_s = duration_s(outcome, outcome.limit), duration_s(outcome, outcome.seen)
    if limit_s is None or seen_s is None or seen_s <= limit_s:
        return False
    return abs(outcome.moment_s - limit_s + seen_s - end_s) < _SAME_S


def clock_of(outcome: Outcome, recording: Recording) -> Clock | None:
    """The limit of a claim in the time of its run; None where it is no stretch of time, or nobody knows."""
    if outcome.moment_s is None or outcome.limit is None or outcome.seen is None:
        return None
    text = f"limit {quantity(outcome.limit, outcome.unit)}"
    if outcome.claim in ANGLES:
        return _angle(outcome.claim, outcome.moment_s, outcome.limit, text, recording)
    limit_s, seen_s = duration_s(outcome, outcome.limit), duration_s(outcome, outcome.seen)
    if limit_s is None or seen_s is None:
        return None
    if outcome.claim in DEADLINES:
        start_s = outcome.moment_s - (seen_s if outcome.status == HELD else min(seen_s, limit_s))
    elif outcome.claim in ENDS:
        start_s = outcome.moment_s - seen_s
    elif outcome.claim in BEGINS:
        start_s = outcome.moment_s
    else:
        return None
    return Clock(start_s, start_s, start_s + limit_s, text)


def _angle(claim: str, moment_s: float, limit_deg: float, text: str, recording: Recording) -> Clock | None:
    """Where the rotor was, or will be, at the right angle, at the speed that it has at the moment."""
    if len(recording.states) < 2:
        return None
    w_rad_s = float(recording.w_at(moment_s)) * recording.drive.motor.pole_pairs
    if abs(w_rad_s) < _SLOW_RAD_S:
        return None
    way, cycle = (1 if w_rad_s > 0.0 else -1), recording.cycle_of(moment_s)
    if claim == "commutation.angle":
        k = int(np.searchsorted(recording.steps.cycles, cycle, side="right")) - 1
        if k < 0:
            return None
        right_rad = float(ideal_start_rad(recording.steps.step[k], way))
    else:
        leg, rises = (int(recording.value_at(s, cycle)) for s in (Signal.SENSE_LEG, Signal.SENSE_EDGE))
        # The EMF of U rises through zero at 0 degrees, V and W lag by 120 and 240.
        right_rad = float(np.radians(120.0 * leg + (0.0 if rises else 180.0)))
    late_rad = float(lateness_rad(recording.theta_at(moment_s), right_rad, way))
    start_s, limit_s = moment_s - late_rad / abs(w_rad_s), float(np.radians(limit_deg)) / abs(w_rad_s)
    ends = (start_s, start_s + limit_s) if late_rad >= 0.0 else (start_s - limit_s, start_s)
    return Clock(start_s, *ends, text)
