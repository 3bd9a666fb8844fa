"""Arming, calibration and reversal as state machines: Hypothesis moves the stick, the rig goes on."""

from dataclasses import replace
from functools import cache

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    rule,
    run_state_machine_as_test,
)

from dryspin.enumerate.ledger import AT_POWER_ON, Entitlement, seen_in
from dryspin.enumerate.pulses import FIRST_FRAME, HIGH, KINDS, LOW, NEUTRAL, NONE, width_us
from dryspin.findings import BROKEN, HELD, Subject, load_subject
from dryspin.monitors import Limits
from dryspin.recording import Mark
from dryspin.rig.frames import Frames
from dryspin.scenario import Scenario

from ..small_firmware import BOW_THRUSTER, scenario

KNOWN_BAD = BOW_THRUSTER.parent / "known_bad"
FRAME_S = 0.02

QUICK = settings(
    max_examples=8,
    stateful_step_count=8,
    deadline=None,
    database=None,
    derandomize=True,
    print_blob=False,
    suppress_health_check=list(HealthCheck),
)


@cache
def subject_of(name: str) -> Subject:
    """The shipped firmware, or a known-bad one."""
    return load_subject(BOW_THRUSTER if name == "" else KNOWN_BAD / name)


class Stick(RuleBasedStateMachine):
    """The firmware `of`, its throttle given in runs of equal frames; `words`: the marks of each frame."""

    of = ""
    longest_s = 60.0

    @initialize()
    def power_on(self) -> None:
        """The rotor at rest, no pulse yet."""
        subject = subject_of(self.of)
        self.throttle = subject.drive.throttle
        self.frames = Frames(subject.rig, Scenario(0, self.longest_s, 0.0, 20.0, ((0.0, 0.0),)))
        self.standing, edges = self.frames.from_power_on(FIRST_FRAME)
        self.seen = seen_in(edges, AT_POWER_ON)

    def frame(self, kind: str):
        """One frame; what was seen in it."""
        self.standing, edges = self.frames.after(self.standing, width_us(kind, self.throttle))
        self.seen = seen_in(edges, self.seen)
        return self.seen


class Arming(Stick):
    """Whatever the stick does, being armed has been earned; whoever drives is armed and was asked."""

    @initialize()
    def nothing_earned(self) -> None:
        """The rite is due."""
        self.entitlement = Entitlement()
        limits = Limits(subject_of(self.of).drive, subject_of(self.of).claims)
        self.needed, self.lost_frames = int(limits["arm_frames"]), limits["loss_s"] / FRAME_S

    @rule(kind=st.sampled_from(KINDS), count=st.sampled_from((1, 25, 13, 2, 24)))
    def hold(self, kind: str, count: int) -> None:
        """The same frame so many times, up to where the bridge drives: the plant is coarse here."""
        for _ in range(0 if self.seen.drives else count):
            seen = self.frame(kind)
            entitlement = self.entitlement.after(kind, self.needed, self.lost_frames)
            self.entitlement, suspicion = entitlement.judged(seen, kind, self.needed)
            assert suspicion == ""
            if seen.drives:
                return


class Calibrating(Stick):
    """Learning begins only by the declared entry, and what is stored was held still three times."""

    @initialize()
    def nothing_learnt(self) -> None:
        """From power-on."""
        self.calibration = subject_of(self.of).drive.calibration
        self.up, self.held, self.last = 0, 0, ""
        self.stored = self.learning = False

    def take(self, kind: str) -> None:
        """One frame, and what the declaration says to what the firmware says."""
        self.up = (
            self.up + 1 if kind == HIGH else self.up if self.up >= self.calibration.enter_frames else -(10**6)
        )
        words = self.frame(kind).words
        if Mark.CALIBRATING in words and not self.learning:
            self.learning = True
            assert self.up >= self.calibration.enter_frames
            self.positions = []
        self.held = self.held + 1 if kind == self.last else 1
        self.last = kind
        if self.learning and self.held >= self.calibration.hold_frames and [kind] != self.positions[-1:]:
            self.positions.append(kind)
        if Mark.STORED in words:
            self.stored = True
            assert self.positions[:3] == ["high", "neutral", "low"]

    @rule()
    def stick_up_for_long_enough(self) -> None:
        """The entry, and the first position with it."""
        for _ in range(self.calibration.enter_frames + 45):
            self.take(HIGH)

    @rule(kind=st.sampled_from((NEUTRAL, LOW, HIGH, NONE)), count=st.sampled_from((30, 5)))
    def hold(self, kind: str, count: int) -> None:
        """A position, held long enough or in passing."""
        for _ in range(count):
            self.take(kind)


class Reversing(RuleBasedStateMachine):
    """Ahead, astern, neutral, no signal, from checkpoint to checkpoint; the monitors judge."""

    of = ""

    @initialize()
    def armed(self) -> None:
        """The rite is over."""
        self.subject = subject_of(self.of)
        self.story = scenario(1.0, throttle_us=((0.0, 1500.0),))
        self.now = self.subject.rig.checkpoint(self.story, 0.7)

    @rule(us=st.sampled_from((1900.0, 1100.0, 1500.0, 1700.0, 0.0)), frames=st.sampled_from((50, 5, 20)))
    def stick(self, us: float, frames: int) -> None:
        """Moved at once, then held; a story of some three seconds is long enough."""
        if self.now.at_s > 3.0:
            return
        at_s = round(self.now.settled_s + 0.001, 4)
        end_s = round(at_s + frames * FRAME_S, 4)
        points = (*self.story.throttle_us, (at_s, us))
        self.story = replace(self.story, throttle_us=points, end_s=round(end_s + 0.1, 4))
        self.now = self.subject.rig.checkpoint(self.story, end_s, after=self.now)

    def teardown(self) -> None:
        """The whole story, judged."""
        if not hasattr(self, "now"):
            return
        trial = self.subject.judge(self.subject.rig.resume(self.now, self.story))
        for outcome in trial.outcomes:
            if outcome.claim.startswith("reversal."):
                assert outcome.status != BROKEN, outcome.text
                JUDGED.add((outcome.claim, outcome.status))


JUDGED: set[tuple[str, str]] = set()


@pytest.mark.parametrize("machine", [Arming, Calibrating, Reversing])
def test_the_shipped_firmware_keeps_to_the_machine(machine):
    """Whatever is done with the stick."""
    run_state_machine_as_test(machine, settings=QUICK)

    assert machine is not Reversing or ("reversal.opposing_drive", HELD) in JUDGED


@pytest.mark.parametrize(
    ("machine", "wrong"),
    [
        (Arming, "arms_with_the_stick_up"),
        pytest.param(Calibrating, "learns_from_a_passing_stick", marks=pytest.mark.slow),
        (Reversing, "reverses_without_stopping"),
    ],
)
def test_a_wrong_firmware_is_found_out_by_the_machine(machine, wrong):
    """Else keeping to it would mean nothing. Not shortened here: that takes long and shows nothing more."""
    broken = type(f"Wrong{machine.__name__}", (machine,), {"of": wrong})
    unshrunk = settings(QUICK, max_examples=60, phases=(Phase.generate,))

    with pytest.raises(AssertionError):
        run_state_machine_as_test(broken, settings=unshrunk)
