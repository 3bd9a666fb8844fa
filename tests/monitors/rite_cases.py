"""Where the claims on calibration, tones and synchronism are sharp."""

from dataclasses import replace

from dryspin.drive import Tone
from dryspin.monitors.completing import ASKED_S
from dryspin.recording import Mark, Signal

from .courtroom import Case
from .rites import READY, Rite, counts_at, launch, play, two_sails
from .synthetic import FORWARD_US, FRAME_S, NEUTRAL_US, Story, thruster
from .voyage import pulse_end_s

CUT_OFF = Rite(ends_as=None, bytes_written=3)
"""Three of the bytes are written when the power goes, 10 ms after the first."""

TIMED_OUT = Rite(
    positions=(1800.0,), bytes_written=0, ends_as=Mark.NOT_STORED, takes_s=thruster().calibration.timeout_s
)

LONG = Tone("long", 40, (("C6", 1000.0),), 30.0)
PAUSING = Tone("pausing", 41, (("C6", 100.0), ("", 500.0), ("C6", 100.0)), 30.0)
C6_S = 1.0 / 1046.502
OLD = counts_at(160 / 360)
"""Duty at 1700 us under the range of drive.toml."""

DRIVEN = {"speed_rpm": ((0.0, 0.0),)}
"""Somebody turns the rotor: before arming it may then move."""


def armed(end_s: float = 1.2) -> Story:
    """Armed at 0.515 s with the stick at neutral."""
    story = Story(end_s=end_s)
    story.mark(0.001, Mark.OFF)
    story.mark(0.515, Mark.ARMED)
    return story


def learns(end_s: float | None = None, **rite: object) -> Story:
    """A range is learnt from power-on, and nothing else happens."""
    story = Story(end_s=9.0)
    ended_s = replace(Rite(), **rite).tell(story)  # type: ignore[arg-type]
    story.end_s = end_s or ended_s + 0.2
    return story


def tone_at(tone: Tone = READY, **how: object) -> Story:
    """A tone at 0.6 s, of a drive that knows it."""
    story = armed(2.0)
    story.drive = replace(story.drive, tones=(*thruster().tones, LONG, PAUSING))
    play(story, 0.6, tone, back_to=Mark.ARMED, **how)
    return story


# ---- synchronism ------------------------------------------------------------------------------------


def _grabbed(*at_s: float) -> tuple[tuple[float, float], ...]:
    """A weed that holds the propeller for a moment just before each of `at_s`, and excuses a loss."""
    points = [(0.0, 1.0)]
    for t_s in at_s:
        points += [(t_s - 3e-3, 1.0), (t_s - 2e-3, 20.0), (t_s - 1e-3, 1.0)]
    return tuple(points)


def _stops_in_run(seconds: float) -> Story:
    """At 1.2 s the rotor stops at once; steps go on by the clock for `seconds`, then it is given up."""
    story = armed(1.2 + seconds + 0.2)
    story.scenario["load_factor"] = _grabbed(1.2)
    story.throttle.append((0.6, FORWARD_US))
    story.edge(0.6, Signal.DUTY, 128)
    last = launch(story, 0.9, 1.2)
    story.speeds[-1] = (1.2001, 0.0)
    for k in range(1, round(seconds / 5e-4)):
        story.drive_step(1.2 + k * 5e-4, (last + k) % 6)
    story.stop(1.2 + seconds, Mark.GIVEN_UP)
    return story


def _runs_again_after(seconds: float) -> Story:
    story = armed(1.2 + seconds + 0.5)
    story.scenario["load_factor"] = _grabbed(1.2)
    story.throttle.append((0.6, FORWARD_US))
    story.edge(0.6, Signal.DUTY, 128)
    launch(story, 0.9, 1.2)
    story.stop(1.2, Mark.COAST)
    launch(story, 1.2 + seconds, story.end_s)
    return story


def runs_again_after_a_jam(seconds: float) -> Story:
    """The propeller is stuck from the loss on for a tenth of a second: time counts from its end."""
    story = _runs_again_after(0.1 + seconds)
    story.scenario["load_factor"] = ((0.0, 1.0), (1.19, 1.0), (1.2, 20.0), (1.299, 20.0), (1.3, 1.0))
    return story


def _given_up_after(seconds: float) -> Story:
    story = armed(1.2 + seconds + 0.5)
    story.scenario["supply_v"] = ((0.0, 9.0),)
    story.throttle.append((0.6, FORWARD_US))
    story.edge(0.6, Signal.DUTY, 128)
    launch(story, 0.9, 1.2)
    story.stop(1.2, Mark.COAST)
    story.mark(1.2 + seconds, Mark.GIVEN_UP)
    return story


def _joined_with(amps: float) -> Story:
    """Let go for 30 ms, in which the rotor turns on, it is driven again without a ramp."""
    story = armed(1.6)
    story.scenario["load_factor"] = _grabbed(1.2, 1.5)
    story.throttle.append((0.6, FORWARD_US))
    story.edge(0.6, Signal.DUTY, 128)
    launch(story, 0.9, 1.2)
    story.stop(1.2, Mark.COAST)
    story.speeds[-1] = (1.55, 3000.0)
    story.follow(1.23, 1.5, Mark.RUN, 1)
    story.stop(1.5, Mark.COAST)
    story.current_spans.append((1.231, 1.232, amps))
    return story


def _stored_after(seconds: float) -> Story:
    """The stick stays where it was held last; two positions are held for longer than they need to be."""
    frames = 2 * Rite().hold_frames + thruster().calibration.hold_frames
    return learns(takes_s=frames * FRAME_S + seconds, after_us=1200.0)


def _armed_after(seconds: float) -> Story:
    """Off with the stick at neutral, and armed so long after the first pulse that was seen."""
    story = Story(end_s=seconds + 0.3)
    story.mark(0.001, Mark.OFF)
    story.mark(pulse_end_s(0.003, NEUTRAL_US) + seconds, Mark.ARMED)
    return story


def _let_in_after(seconds: float) -> Story:
    """A second of high pulses is more than the declared twenty; so long after it, learning begins."""
    return learns(enter_frames=1 + round((ASKED_S + seconds) / FRAME_S))


def _goes_on_after_the_word(seconds: float) -> Story:
    story = learns(end_s=9.0)
    stored_s = _said(story, Mark.STORED)
    # As long as it learns it does not arm, so that nothing else is asked of it.
    story.edges = [edge for edge in story.edges if edge[0] <= stored_s]
    story.mark(stored_s + seconds, Mark.OFF)
    story.end_s = stored_s + seconds + 0.2
    return story


def _not_started(seconds: float) -> Story:
    story = armed(0.6 + seconds + 0.5)
    story.throttle.append((0.6, FORWARD_US))
    story.mark(pulse_end_s(0.6, FORWARD_US) + seconds, Mark.GIVEN_UP)
    return story


# ---- a turning rotor --------------------------------------------------------------------------------


def _turns_at(story: Story, at_s: float, rpm: float) -> Story:
    story.scenario.update(DRIVEN)
    story.speeds += [(at_s - 0.02, 0.0), (at_s - 0.01, rpm), (at_s + 0.01, rpm), (at_s + 0.02, 0.0)]
    return story


def _said(story: Story, mark: Mark) -> float:
    return next(t for t, signal, value in sorted(story.edges) if signal == Signal.MARK and value == mark)


def _learns_while_turning(rpm: float) -> Story:
    story = learns(enter_frames=30)
    return _turns_at(story, _said(story, Mark.CALIBRATING), rpm)


def _writes_while_turning(rpm: float) -> Story:
    story = learns()
    return _turns_at(story, min(t for t, signal, _ in story.edges if signal == Signal.STORE), rpm)


def _tone_while_turning(rpm: float) -> Story:
    return _turns_at(tone_at(), 0.6, rpm)


def _tone_after_reset_while_turning(rpm: float) -> Story:
    story = armed(1.8)
    story.edge(1.0, Signal.RESET, 2)
    story.mark(1.065, Mark.OFF)
    play(story, 1.2)
    return _turns_at(story, 1.2, rpm)


def _tone_turns(degrees: float) -> Story:
    story = tone_at()
    rpm = degrees / 7 / 0.05 / 6.0
    story.speeds += [(0.65, 0.0), (0.7, rpm), (0.75, 0.0)]
    return story


def _tone_current(amps: float) -> Story:
    story = tone_at()
    story.current_spans.append((0.6, 1.0, amps))
    return story


CASES = [
    Case(
        "synchronism.lost_drive",
        "lost_s",
        _stops_in_run,
        # Steps without a rotor lie at any angle.
        given={"step_early_deg": 400.0, "step_late_deg": 400.0},
    ),
    Case("synchronism.recovers", "recover_s", _runs_again_after),
    # The story says nothing of the bus, which stands where its source does not.
    Case("synchronism.recovers", "give_up_s", _given_up_after, given={"ripple_a": 9e9}),
    Case("startup.off_and_said", "give_up_s", _not_started, given={"start_s": 99.0}),
    Case(
        "arming.after_reset",
        "turning_rpm",
        _tone_after_reset_while_turning,
        # The tone itself is at fault too, reset or not.
        also=("tones.still",),
    ),
    Case("calibration.entry", "turning_rpm", _learns_while_turning),
    Case("calibration.writes", "turning_rpm", _writes_while_turning),
    Case(
        "calibration.leaving",
        "storing_s",
        lambda s: learns(
            positions=(1800.0,),
            bytes_written=0,
            ends_as=Mark.NOT_STORED,
            takes_s=thruster().calibration.timeout_s + s,
        ),
    ),
    Case(
        "calibration.leaving",
        "stick_counts",
        lambda n: two_sails(TIMED_OUT, OLD + round(n)),
    ),
    Case("calibration.completed", "storing_s", _stored_after),
    Case("calibration.leaving", "storing_s", _goes_on_after_the_word),
    Case("calibration.let_in", "let_in_s", _let_in_after),
    Case("arming.accepted", "accepted_s", _armed_after),
    Case("synchronism.joining", "join_a", _joined_with),
    Case(
        "calibration.sane_range",
        "stick_counts",
        # The new range's full is 300 us from neutral; positions are known to 1 us, 1 count here.
        lambda n: two_sails(Rite(), counts_at(160 / 260) + 1 + round(n)),
    ),
    Case(
        "calibration.old_or_new",
        "stick_counts",
        lambda n: two_sails(CUT_OFF, OLD - round(n), resets_s=(0.01,)),
    ),
    Case("tones.pitch", "pitch_cents", lambda c: tone_at(cents=c)),
    Case("tones.pitch", "pitch_cents", lambda c: tone_at(cents=-c)),
    # A note is a whole number of pulses: one of them is free.
    Case("tones.pattern", "note_share", lambda x: tone_at(LONG, stretch=1.0 + x + C6_S)),
    Case("tones.pattern", "note_share", lambda x: tone_at(LONG, stretch=1.0 - x - C6_S)),
    Case("tones.pattern", "note_share", lambda x: tone_at(PAUSING, pause_stretch=1.0 + x + C6_S / 0.5)),
    Case("tones.current", "tone_a", _tone_current),
    Case("tones.still", "turning_rpm", _tone_while_turning),
    Case("tones.still", "tone_deg", _tone_turns),
]
