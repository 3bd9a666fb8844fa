"""Pieces of a story: tones played, a range learnt, a run at one stick position after another."""

from dataclasses import dataclass, replace

from dryspin.drive import Tone
from dryspin.recording import Leg, Mark, Signal
from dryspin.units import frequency_hz

from .synthetic import CALL_S, FRAME_S, NEUTRAL_US, Story, thruster
from .voyage import pulse_end_s

READY, STORED_TONE = thruster().tones
PULSE_S = 24e-6
WAKE_S = 0.065
"""From a reset to the first word of a firmware."""

RUN_AFTER_S = 0.3
"""From a stick that asks to RUN."""


@dataclass(frozen=True)
class Playing:
    """How a tone is played: factors on pitch and lengths, the pairs (high, low leg) pulsed in turn."""

    cents: float = 0.0
    stretch: float = 1.0
    pause_stretch: float = 1.0
    pulse_s: float = PULSE_S
    pairs: tuple[tuple[int, int], ...] = ((0, 1), (1, 0))
    named: bool = True
    back_to: Mark = Mark.OFF


def play(story: Story, at_s: float, tone: Tone = READY, **how: object) -> float:
    """Play `tone` from `at_s` on; returns its end."""
    playing = replace(Playing(), **how)  # type: ignore[arg-type]
    story.mark(at_s, Mark.TONE)
    if playing.named:
        story.edge(at_s + CALL_S, Signal.MARK, tone.mark)
    now_s, count = at_s + 1e-4, 0
    for name, ms in tone.notes:
        if not name:
            now_s += ms * 1e-3 * playing.pause_stretch
            continue
        period_s = 1.0 / (frequency_hz(name) * 2.0 ** (playing.cents / 1200.0))
        pulses = round(ms * 1e-3 * playing.stretch / period_s)
        for _ in range(pulses):
            pulse(story, now_s, playing.pairs[count % len(playing.pairs)], playing.pulse_s)
            now_s, count = now_s + period_s, count + 1
    story.mark(now_s, playing.back_to)
    return now_s


def pulse(story: Story, at_s: float, pair: tuple[int, int], long_s: float) -> None:
    """One winding pair driven for `long_s`."""
    high, low = pair
    story.edge(at_s - CALL_S, Signal(Signal.LEG_U + low), Leg.LOW)
    story.edge(at_s, Signal(Signal.LEG_U + high), Leg.HIGH)
    story.legs(at_s + long_s, Leg.OPEN, Leg.OPEN, Leg.OPEN)


@dataclass(frozen=True)
class Rite:
    """Learning a range from `from_s` on; where that is not 0, a reset of this cause is told, if any.

    positions    held one after the other, us; the first from power-on
    enter_frames, hold_frames  frames for which they are
    ends_as    STORED, NOT_STORED, or None: it says nothing
    takes_s      from the entry to that word; None: as soon as all bytes are written
    """

    from_s: float = 0.0
    cause: int = 1
    enter_frames: int = 22
    positions: tuple[float, ...] = (1800.0, 1500.0, 1200.0)
    hold_frames: int = 14
    ends_as: Mark | None = Mark.STORED
    takes_s: float | None = None
    bytes_written: int = 8
    after_us: float = NEUTRAL_US

    def tell(self, story: Story) -> float:
        """Write it into `story`; returns when it ended."""
        high_us = self.positions[0]
        if self.from_s and self.cause:
            story.edge(self.from_s, Signal.RESET, self.cause)
        story.throttle = [(t, us) for t, us in story.throttle if t < self.from_s]
        story.throttle.append((self.from_s, high_us))
        story.mark(self.from_s + WAKE_S, Mark.OFF)
        # The first pulse that rises after the first word is the first one seen.
        first = pulse_end_s(self.from_s + WAKE_S + 2e-3, high_us)
        enters_s = first + (self.enter_frames - 1) * FRAME_S + 1e-3
        story.mark(enters_s, Mark.CALIBRATING)
        now_s = enters_s
        for us in self.positions:
            story.throttle.append((now_s, us))
            now_s = pulse_end_s(now_s, us) + (self.hold_frames - 1) * FRAME_S + 1e-3
        if self.bytes_written:
            write(story, now_s, self.bytes_written)
        story.throttle.append((now_s, self.after_us))
        if self.ends_as is None:
            return now_s
        ends_s = now_s + 3.4e-3 * self.bytes_written if self.takes_s is None else enters_s + self.takes_s
        story.mark(ends_s, self.ends_as)
        story.mark(ends_s + 1e-5, Mark.OFF)
        return ends_s


def write(story: Story, at_s: float, count: int) -> None:
    """Bytes 0 to `count` of the store are written, one after the other."""
    for k in range(count):
        begin_s = at_s + k * 3.4e-3
        story.edge(begin_s, Signal.STORE, k << 8 | 0x5A)
        story.edge(begin_s, Signal.STORE_BUSY, 1)
        story.edge(begin_s + 3.3e-3, Signal.STORE_BUSY, 0)


def launch(story: Story, run_s: float, off_s: float, top_rpm: float = 3000.0, way: int = 1) -> int:
    """A start that reaches RUN at `run_s`, and a run until `off_s`; the rotor then comes to rest.

    `way` is 1 forward, -1 in reverse. Returns the last step.
    """
    align_s, ramp_s = run_s - 0.18, run_s - 0.08
    story.mark(align_s, Mark.ALIGN)
    story.drive_step(align_s, 0)
    story.legs(ramp_s - 2e-5, Leg.OPEN, Leg.OPEN, Leg.OPEN)
    speeds = [(ramp_s, 0.0), (run_s, 1200.0), (run_s + 0.2, top_rpm), (off_s, top_rpm), (off_s + 0.1, 0.0)]
    story.speeds += [(at_s, way * rpm) for at_s, rpm in speeds]
    story.follow(ramp_s, run_s, Mark.RAMP, way)
    return story.follow(run_s, off_s, Mark.RUN, way)[-1][1]


def sail(story: Story, at_s: float, courses: list[tuple[float, float, int]]) -> float:
    """From ARMED: start at `at_s`, hold each (us, seconds, duty) in turn, stop; returns when it stopped.

    The first course includes the start of `RUN_AFTER_S`.
    """
    stick_s = at_s
    for us, long_s, counts in courses:
        story.throttle.append((stick_s, us))
        story.edge(pulse_end_s(stick_s, us) + 1e-3, Signal.DUTY, counts)
        stick_s += long_s
    story.throttle.append((stick_s, NEUTRAL_US))
    off_s = pulse_end_s(stick_s, NEUTRAL_US) + 0.02
    way = 1 if courses[0][0] > NEUTRAL_US else -1
    launch(story, pulse_end_s(at_s, courses[0][0]) + RUN_AFTER_S, off_s, way=way)
    story.stop(off_s, Mark.COAST)
    story.mark(off_s + 0.12, Mark.ARMED)
    return off_s + 0.12


def counts_at(share: float) -> int:
    """Duty of an ideal drive: a straight line from 62 counts at the dead band to full."""
    return round(62.0 + 193.0 * share)


def two_sails(rite: Rite, counts: int, *, resets_s: tuple[float, ...] = (), us: float = 1700.0) -> Story:
    """A drive at the old range, a power cut, `rite` and resets `resets_s` after its end, a drive at `us`."""
    story = Story(end_s=9.0)
    story.mark(0.001, Mark.OFF)
    story.mark(0.515, Mark.ARMED)
    courses = [(1650.0, 0.8), (1700.0, 0.5), (1800.0, 0.5), (1900.0, 0.5)]
    courses = [(at_us, long_s, counts_at((at_us - 1540.0) / 360.0)) for at_us, long_s in courses]
    rest_s = sail(story, 0.6, courses)
    now_s = replace(rite, from_s=rest_s + 0.1).tell(story)
    for after_s in resets_s:
        story.edge(now_s + after_s, Signal.RESET, 1)
        story.mark(now_s + after_s + WAKE_S, Mark.OFF)
    # A frame to go back to neutral, and the rite of arming.
    armed_s = now_s + max(resets_s, default=0.0) + WAKE_S + 0.52
    story.mark(armed_s, Mark.ARMED)
    story.end_s = sail(story, armed_s + 0.05, [(us, 0.8, counts)]) + 0.05
    return story
