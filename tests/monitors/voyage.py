"""The ideal voyage of a thruster: rite, start, run, and a stop or a reversal; each number its own knob."""

import math
from dataclasses import dataclass, field, replace

from dryspin.drive import Drive
from dryspin.recording import Leg, Mark, Signal

from .synthetic import (
    CALL_S,
    FORWARD_US,
    FRAME_S,
    NEUTRAL_US,
    POLE_PAIRS,
    REVERSE_US,
    Story,
    thruster,
)

RAMP_S = 0.08


@dataclass(frozen=True)
class Voyage:
    """Knobs of one voyage; times in s, angles in electrical degrees, speeds in rpm.

    armed_s       the firmware says it is armed; asks_at_s, neutral_at_s, reverse_at_s  the stick moves
    start_takes_s, reversal_takes_s  from the end of the first pulse that asks to RUN
    steps_go_on_s from the end of the first pulse that asks for something else to the last step
    stops_as      what the firmware says when it stops at neutral
    brake_gap_s   from all legs open to the low FETs on
    opposing_rpm  forward speed at which two steps of the reverse sequence are driven
    fails         tries that end in nothing before the one that works, `fail_s` long, `pause_s` apart
    """

    drive: Drive = field(default_factory=thruster)
    rest_deg: float = 20.0
    armed_s: float = 0.515
    asks_at_s: float = 0.6
    start_takes_s: float = 0.3
    align_s: float = 0.1
    swing_back_deg: float = 0.0
    fails: int = 0
    fail_s: float = 0.01
    pause_s: float = 0.25
    top_rpm: float = 6000.0
    late_deg: float = 0.0
    alternating_deg: float = 0.0
    crossing_late_deg: float = 0.0
    steps_go_on_s: float = 0.02
    neutral_at_s: float | None = None
    stops_as: Mark = Mark.COAST
    reverse_at_s: float | None = None
    brake_gap_s: float = 2 * CALL_S
    opposing_rpm: float = 0.0
    reversal_takes_s: float = 0.5
    end_s: float = 1.5
    scenario: dict[str, object] = field(default_factory=dict)

    @property
    def align_at_s(self) -> float:
        """Beginning of the alignment that leads to a run."""
        return pulse_end_s(self.asks_at_s, FORWARD_US) + self.start_takes_s - RAMP_S - self.align_s

    @property
    def off_s(self) -> float:
        """Last forward step."""
        last_s = self.neutral_at_s or self.reverse_at_s
        width_us = NEUTRAL_US if self.neutral_at_s else REVERSE_US
        return pulse_end_s(last_s, width_us) + self.steps_go_on_s if last_s else self.end_s

    def story(self) -> Story:
        """Write the voyage down."""
        story = Story(
            drive=self.drive,
            rest_deg=self.rest_deg,
            late_deg=self.late_deg,
            alternating_deg=self.alternating_deg,
            crossing_late_deg=self.crossing_late_deg,
            end_s=self.end_s,
            scenario=dict(self.scenario),
        )
        story.mark(0.001, Mark.OFF)
        story.edge(0.001, Signal.DUTY, 128)
        story.mark(self.armed_s, Mark.ARMED)
        story.throttle.append((self.asks_at_s, FORWARD_US))
        align_s, ramp_s = self.align_at_s, self.align_at_s + self.align_s
        run_s, off_s = ramp_s + RAMP_S, self.off_s
        for k in range(self.fails, 0, -1):
            fail_s = align_s - k * (self.fail_s + self.pause_s)
            story.mark(fail_s, Mark.ALIGN)
            story.drive_step(fail_s, 0)
            story.stop(fail_s + self.fail_s, Mark.COAST)
        self._swing(story, align_s)
        story.speeds += [(ramp_s, 0.0), (run_s, 1200.0), (run_s + 0.2, self.top_rpm), (off_s, self.top_rpm)]
        story.mark(align_s, Mark.ALIGN)
        story.drive_step(align_s, 0)
        # The rotor may have swung anywhere: let go before the ramp begins with its step.
        story.legs(ramp_s - 2e-5, Leg.OPEN, Leg.OPEN, Leg.OPEN)
        if self.neutral_at_s is not None:
            story.throttle.append((self.neutral_at_s, NEUTRAL_US))
            story.stop(off_s, self.stops_as)
            story.speeds.append((off_s + 0.1, 0.0))
        elif self.reverse_at_s is not None:
            story.throttle.append((self.reverse_at_s, REVERSE_US))
            self._reverse(story)
        story.follow(ramp_s, run_s, Mark.RAMP, 1)
        story.follow(run_s, off_s, Mark.RUN, 1)
        return story

    def _swing(self, story: Story, align_s: float) -> None:
        """The rotor goes back by `swing_back_deg` in the first half of the alignment."""
        quarter_s = self.align_s / 4
        peak_rpm = self.swing_back_deg / POLE_PAIRS / quarter_s / 6.0
        story.speeds += [(align_s, 0.0), (align_s + quarter_s, -peak_rpm), (align_s + 2 * quarter_s, 0.0)]

    def _reverse(self, story: Story) -> None:
        """Brake by the low FETs, then ramp the other way."""
        reached_s = pulse_end_s(self.reverse_at_s or 0.0, REVERSE_US) + self.reversal_takes_s
        stop_s = reached_s - RAMP_S
        story.speeds += [(stop_s - 5e-3, self.opposing_rpm), (stop_s - 1e-3, self.opposing_rpm)]
        story.speeds += [(stop_s, 0.0), (reached_s, -1500.0), (self.end_s, -1500.0)]
        story.stop(self.off_s, Mark.BRAKE)
        story.legs(self.off_s + self.brake_gap_s, Leg.LOW, Leg.LOW, Leg.LOW)
        story.stop(stop_s - 4e-3, Mark.COAST)
        if self.opposing_rpm:
            story.mark(stop_s - 3e-3, Mark.RAMP)
            story.drive_step(stop_s - 3e-3, 1)
            story.drive_step(stop_s - 2e-3, 0)
            story.stop(stop_s - 1e-3, Mark.COAST)
        story.follow(stop_s, reached_s, Mark.RAMP, -1)
        story.follow(reached_s, self.end_s, Mark.RUN, -1)


def voyage(**knobs: object) -> Story:
    """The ideal voyage with some knobs turned."""
    return replace(Voyage(), **knobs).story()  # type: ignore[arg-type]


def pulse_end_s(from_s: float, width_us: float) -> float:
    """End of the first pulse that rises at or after `from_s`."""
    k = math.ceil((from_s - FRAME_S / 2) / FRAME_S - 1e-9)
    return (k + 0.5) * FRAME_S + width_us * 1e-6
