"""The course of a scenario: what the stick does and what goes wrong; parts that flavours share."""

import math
from dataclasses import dataclass, field

from dryspin.drive import Drive
from dryspin.scenario import Fault, Trace
from dryspin.search.beginnings import AHEAD_S, Beginning
from dryspin.search.draws import Draws
from dryspin.search.rehearsal import Rehearsal

RITE_FRAMES = 25
"""Throttle frames granted for arming where drive.toml does not say, and no rehearsal has shown more."""

RITE_S = 0.25
"""Granted for it at the least: fast frames bring their pulses in less than a stick takes through neutral."""

START_UP_S = 0.065
"""From power-on or reset to main(): the longest start-up time of the part's fuses, 65 ms."""

SIZES = (1.0, 0.5, 0.75, 0.3, 0.9, 0.2)
"""Shares of the full stick, for demands of any size; a fifth is surely outside a dead band of a tenth."""

RUN_UP_S = 1.0
"""Time at high throttle before a reversal: the rotor is then above half of its top speed."""

BLOCKED_S = 6.5
"""A demand that nothing comes of: five tries with a pause after each, and what may be said of them."""

RARE = 5
"""The choice of ten or so that stands for the rare case: Hypothesis likes to try the ends."""

WAYS = ("way", "again way", "both ways")
"""Choices that a drive leaves no room for where it pushes one way: a demand is for forward then, and where a
story turns round, the stick goes to its end that asks for nothing."""

RESTARTS = ("reset", "power cut", "supply gap")
"""Faults after which the controller starts anew (a gap of the supply only where it is long enough)."""


@dataclass
class Course:
    """The part of a scenario that tells a story; the rest is where the drive stands meanwhile.

    Steps and faults may be added in any order; of two steps at one moment the later added counts.
    `jam` is a factor on the propeller's torque; `blocked`: something holds the rotor throughout.
    `aside`: a rare story, told for one claim, in which others of its family are not exercised.
    `beginning`: what other scenarios may share. `frame_ms`, `parts`: where the story needs its own.
    """

    throttle_us: list[tuple[float, float]]
    end_s: float
    faults: list[Fault] = field(default_factory=list)
    load_nm: Trace = ()
    jam: Trace = ()
    blocked: bool = False
    aside: bool = False
    beginning: Beginning | None = None
    frame_ms: float | None = None
    parts: dict[str, float] = field(default_factory=dict)

    def step(self, at_s: float, width_us: float) -> None:
        """The throttle pulses get another width from `at_s` on."""
        self.throttle_us.append((round(at_s, 4), width_us))

    def begun(self, draws: Draws, at_s: float) -> None:
        """No choice of the story from here on changes what happens before `at_s`."""
        self.beginning = Beginning(at_s - AHEAD_S, dict(draws.named))

    def fault(self, kind: str, at_s: float, for_ms: float = 0.0) -> float:
        """A fault, to a tenth of a microsecond; returns the moment at which it is over."""
        self.faults.append(Fault(kind, round(at_s, 7), for_ms))
        return at_s + for_ms / 1000.0


class Stick:
    """Pulse widths of one drive, rounded to 5 us."""

    def __init__(self, drive: Drive) -> None:
        self._throttle = drive.throttle
        self.neutral_us = drive.throttle.neutral_us

    def demand(self, way: int, share: float) -> float:
        """Width for a share of the full stick; `way` 0 is forward, 1 reverse, nothing on a one-way drive."""
        full_us = self._throttle.reverse_full_us if way else self._throttle.forward_full_us
        if share == 1.0:
            return full_us
        return float(round((self.neutral_us + share * (full_us - self.neutral_us)) / 5.0) * 5)

    @property
    def bad_us(self) -> tuple[float, float, float]:
        """No pulse, one too short and one too long to be obeyed."""
        low_us, high_us = self._throttle.valid_low_us, self._throttle.valid_high_us
        return 0.0, min(700.0, low_us - 50.0), max(2300.0, high_us + 50.0)


def rite_frames(drive: Drive, rehearsal: Rehearsal, frame_ms: float) -> int:
    """Frames granted for arming before a demand: what it takes at most, and one cut in half."""
    throttle = drive.throttle
    declared = [
        *([throttle.arming_frames.high] if throttle.arming_frames else []),
        *([throttle.arming_s.high * 1000.0 / frame_ms] if throttle.arming_s else []),
    ]
    # What was rehearsed may be a slip of the firmware, such as arming by one pulse: not less than usual.
    needed = max(declared) if declared else max(rehearsal.rite_frames.get(frame_ms, 0), RITE_FRAMES)
    least = 0 if declared else math.ceil(RITE_S * 1000.0 / frame_ms)
    return max(math.ceil(round(needed, 6)) + 1, least)


def armed_s(drive: Drive, rehearsal: Rehearsal, frame_ms: float) -> float:
    """Moment from which a demand may come: after the rite, on the next twentieth of a second."""
    frames = rite_frames(drive, rehearsal, frame_ms)
    return math.ceil((START_UP_S + frames * frame_ms / 1000.0) / 0.05) * 0.05


def rite(drive: Drive, draws: Draws, frame_ms: float, rehearsal: Rehearsal) -> Course:
    """Neutral from power-on; `end_s` is the moment of the first demand."""
    start_s = armed_s(drive, rehearsal, frame_ms) + draws.index("start", 4) * 0.05
    return Course([(0.0, drive.throttle.neutral_us)], round(start_s, 4))


def restart(draws: Draws, course: Course, at_s: float, name: str = "restart") -> float:
    """Start the controller anew in the 50 ms from `at_s` on; returns when the cause is over.

    A tenth of a millisecond off any round value, so that every phase of a carrier period is met.
    """
    at_s += draws.index(f"{name} ms", 50) / 1000.0 + draws.index(f"{name} tenth", 10) / 10000.0
    kind = draws.pick(f"{name} by", RESTARTS)
    if kind == "reset":
        return course.fault(kind, at_s)
    # A short cut leaves charge on the bus. So does a gap of some 10 ms under drive, which is a brown-out;
    # after a long one the bus is empty, whatever drew on it.
    lengths_ms = (30.0, 5.0, 100.0, 300.0) if kind == "power cut" else (200.0, 80.0, 30.0, 300.0)
    return course.fault(kind, at_s, draws.pick(f"{name} for", lengths_ms))


def fall_s(drive: Drive) -> float:
    """From the end of the supply to a brown-out, while nothing but the controller draws on the bus.

    t = C (V - V0) / I, nominal values (constant current into a capacitor).
    """
    controller = drive.controller
    least_v = controller.brown_out_v + controller.regulator_drop_v
    return drive.supply.c_f.nominal * (drive.supply.v_v.nominal - least_v) / max(controller.i_supply_a, 1e-3)
