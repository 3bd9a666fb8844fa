"""Violations planted for the claims on calibration, tones and synchronism."""

from collections.abc import Callable
from dataclasses import replace

from dryspin.recording import Mark, Signal

from .courtroom import Plant
from .rite_cases import CUT_OFF, LONG, armed, learns, tone_at
from .rites import PULSE_S, READY, Rite, counts_at, launch, play, pulse, two_sails, write
from .synthetic import FORWARD_US, NEUTRAL_US, Story


def _pulses_one_pair_only() -> Story:
    return tone_at(pairs=((0, 1),))


def _pulse_too_long() -> Story:
    return tone_at(pulse_s=36e-6)


def _tone_without_a_name() -> Story:
    return tone_at(named=False)


def _tone_nobody_declared() -> Story:
    story = armed(2.0)
    play(story, 0.6, LONG, back_to=Mark.ARMED)
    return story


def _tone_only_said() -> Story:
    story = armed()
    story.edge(0.6, Signal.MARK, READY.mark)
    return story


def _second_note_left_out() -> Story:
    story = armed(2.0)
    play(story, 0.6, replace(READY, notes=READY.notes[:1]), back_to=Mark.ARMED)
    return story


def _one_note_too_many() -> Story:
    story = armed(2.0)
    play(story, 0.6, replace(READY, notes=(*READY.notes, ("", 60.0), ("C6", 60.0))), back_to=Mark.ARMED)
    return story


def _notes_swapped() -> Story:
    """The wrong pitch at the right length."""
    story = armed(2.0)
    play(story, 0.6, replace(READY, notes=READY.notes[::-1]), back_to=Mark.ARMED)
    return story


def _after(cause: int) -> Callable[[], Story]:
    def make() -> Story:
        story = armed(9.0)
        story.end_s = Rite(from_s=1.0, cause=cause).tell(story) + 0.2
        return story

    make.__name__ = f"learns_after_reset_{cause}"
    return make


def _learns_too_soon() -> Story:
    return learns(enter_frames=19)


def _learns_though_the_stick_was_down_first() -> Story:
    story = learns(enter_frames=30)
    story.throttle[:1] = [(0.0, 1800.0), (0.09, NEUTRAL_US), (0.11, 1800.0)]
    return story


def _learns_across_a_lost_signal() -> Story:
    """Twenty pulses with the stick up, but the signal was lost halfway: two runs of ten."""
    story = learns(enter_frames=40)
    story.throttle[:1] = [(0.0, 1800.0), (0.28, 0.0), (0.68, 1800.0)]
    return story


def _does_not_let_in() -> Story:
    """The stick is up from power-on for two seconds, and nothing comes of it."""
    story = Story(end_s=2.0, throttle=[(0.0, 1800.0)])
    story.mark(0.001, Mark.OFF)
    return story


def _never_arms() -> Story:
    """Neutral for three seconds, and off all the time."""
    story = Story(end_s=3.0)
    story.mark(0.001, Mark.OFF)
    return story


def _arms_the_first_time_only() -> Story:
    """After a lost signal neutral no longer arms."""
    story = armed(4.0)
    story.throttle += [(0.8, 0.0), (1.2, NEUTRAL_US)]
    story.mark(1.0, Mark.OFF)
    return story


def _off_again_for_no_reason() -> Story:
    """A good pulse came in every frame."""
    story = armed()
    story.mark(0.9, Mark.OFF)
    return story


def _off_again_in_a_run() -> Story:
    """The stick still asks, and a good pulse came in every frame."""
    story = armed(1.4)
    story.throttle.append((0.6, FORWARD_US))
    story.edge(0.6, Signal.DUTY, 128)
    launch(story, 0.9, 1.2)
    story.stop(1.2, Mark.OFF)
    return story


def _learns_though_it_has_long_been_armed() -> Story:
    """A stick that goes up and stays there after a lost signal, say: at sea nothing is learnt."""
    return _after(0)()


def _leaves_without_a_word() -> Story:
    story = Story(end_s=9.0)
    left_s = Rite(ends_as=None).tell(story) + 0.05
    story.mark(left_s, Mark.OFF)
    story.end_s = left_s + 0.2
    return story


def _stores_without_the_low_position() -> Story:
    return learns(positions=(1800.0, 1500.0))


def _stores_what_was_held_too_short() -> Story:
    return learns(hold_frames=9)


def _writes_before_all_is_learnt() -> Story:
    return learns(positions=(1800.0,), ends_as=Mark.NOT_STORED, bytes_written=1)


def _gives_up_what_was_taught() -> Story:
    """Three positions were held as declared, for a range as it should be, and nothing was in the way."""
    return learns(ends_as=Mark.NOT_STORED)


def _gives_up_halfway() -> Story:
    """No time was up, and no signal lost, when only two positions had been held."""
    return learns(positions=(1800.0, 1500.0), bytes_written=0, ends_as=Mark.NOT_STORED)


def _never_leaves() -> Story:
    return learns(positions=(1800.0,), bytes_written=0, ends_as=None, end_s=4.0)


def _narrow_range() -> Story:
    return learns(positions=(1720.0, 1560.0, 1200.0))


def _wide_range() -> Story:
    return learns(positions=(1800.0, 1560.0, 810.0))


def _written_when_not_learning() -> Story:
    story = armed()
    write(story, 0.7, 1)
    return story


def _written_while_pulsed() -> Story:
    story = learns()
    at_s = min(t for t, signal, _ in story.edges if signal == Signal.STORE)
    story.mark(at_s + 1e-3, Mark.TONE)
    story.edge(at_s + 1e-3, Signal.MARK, READY.mark)
    pulse(story, at_s + 1.2e-3, (0, 1), PULSE_S)
    story.mark(at_s + 2e-3, Mark.CALIBRATING)
    return story


def _neither_old_nor_new() -> Story:
    return two_sails(CUT_OFF, counts_at(0.2), resets_s=(0.01,))


def _neutral_of_one_full_of_the_other() -> Story:
    """New are 1720, 1320, 920. At 1650 us the old range gives 110 of 360 us, the new one 290 of 360;
    full of the new one and neutral of the old one together give 110 of 180."""
    rite = replace(CUT_OFF, positions=(1720.0, 1320.0, 920.0))
    return two_sails(rite, counts_at(110 / 180), resets_s=(0.01,), us=1650.0)


def _halfway_between_old_and_new() -> Story:
    """As far off the one as off the other, and the two are 44 counts apart: neither."""
    return two_sails(CUT_OFF, counts_at((160 / 360 + 160 / 260) / 2), resets_s=(0.01,))


def _driven_after_a_reset() -> Story:
    """What is not armed is not idle, has had no rite, and drives though the stick is at neutral."""
    story = armed(2.0)
    story.edge(0.001, Signal.DUTY, 128)
    story.edge(1.0, Signal.RESET, 8)
    story.mark(1.065, Mark.OFF)
    story.mark(1.1, Mark.ALIGN)
    story.drive_step(1.1, 0)
    story.stop(1.15, Mark.OFF)
    return story


def _slips() -> Story:
    """Steps at twice the rotor's rate lie at any angle, and are no crossings."""
    story = armed(1.6)
    story.throttle.append((0.6, FORWARD_US))
    story.edge(0.6, Signal.DUTY, 128)
    last = launch(story, 0.9, 1.2)
    story.speeds[-1] = (1.6, 3000.0)
    for k in range(1, 600):
        story.drive_step(1.2 + k * 2.38e-4, (last + k) % 6)
    story.stop(1.2 + 600 * 2.38e-4, Mark.GIVEN_UP)
    return story


def _waits_for_a_crossing() -> Story:
    """A blocked rotor in RUN, and one pattern held for a fifth of a second."""
    story = armed(1.6)
    story.throttle.append((0.6, FORWARD_US))
    story.edge(0.6, Signal.DUTY, 128)
    launch(story, 0.9, 1.2)
    story.speeds[-1] = (1.2001, 0.0)
    story.stop(1.4, Mark.GIVEN_UP)
    return story


_ANY_ANGLE = {"step_early_deg": 400.0, "step_late_deg": 400.0, "crossing_deg": 400.0}

PLANTS = [
    # A rotor that is lost without a reason is not kept either.
    Plant(
        "synchronism.lost_drive",
        _slips,
        also=("commutation.missed_crossings", "synchronism.keeps"),
        given=_ANY_ANGLE,
    ),
    Plant("synchronism.lost_drive", _waits_for_a_crossing, also=("synchronism.keeps",)),
    # The cause of the story's reset is the watchdog, which nothing but running code has made bite.
    Plant(
        "arming.after_reset",
        _driven_after_a_reset,
        also=("arming.idle", "arming.rite", "reversal.neutral", "controller.fed"),
    ),
    *(Plant("calibration.entry", _after(cause)) for cause in (2, 4)),
    Plant("calibration.entry", _after(8), also=("controller.fed",)),
    Plant("calibration.entry", _learns_across_a_lost_signal),
    Plant("calibration.let_in", _does_not_let_in),
    Plant("arming.accepted", _never_arms),
    Plant("arming.accepted", _arms_the_first_time_only),
    Plant("arming.kept", _off_again_for_no_reason),
    Plant("arming.kept", _off_again_in_a_run, also=("synchronism.keeps",)),
    Plant("calibration.entry", _learns_too_soon),
    Plant("calibration.entry", _learns_though_the_stick_was_down_first),
    # Full ahead is asked for meanwhile, and nothing but the stick led out of being armed.
    Plant(
        "calibration.entry",
        _learns_though_it_has_long_been_armed,
        also=("startup.in_time", "arming.kept"),
    ),
    Plant("calibration.leaving", _leaves_without_a_word),
    Plant("calibration.leaving", _stores_without_the_low_position),
    Plant("calibration.leaving", _stores_what_was_held_too_short),
    # Nor was there a reason to give up.
    Plant("calibration.leaving", _writes_before_all_is_learnt, also=("calibration.completed",)),
    Plant("calibration.completed", _gives_up_what_was_taught),
    Plant("calibration.completed", _gives_up_halfway),
    Plant("calibration.leaving", _never_leaves),
    Plant("calibration.sane_range", _narrow_range),
    Plant("calibration.sane_range", _wide_range),
    Plant("calibration.writes", _written_when_not_learning),
    # One pulse is no tone of READY's pattern.
    Plant("calibration.writes", _written_while_pulsed, also=("tones.pattern",)),
    Plant("calibration.old_or_new", _neither_old_nor_new),
    Plant("calibration.old_or_new", _neutral_of_one_full_of_the_other),
    Plant("calibration.old_or_new", _halfway_between_old_and_new),
    Plant("tones.alternation", _pulses_one_pair_only),
    Plant("tones.pulse", _pulse_too_long),
    Plant("tones.named", _tone_without_a_name),
    Plant("tones.named", _tone_nobody_declared),
    Plant("tones.named", _tone_only_said),
    Plant("tones.pattern", _second_note_left_out),
    Plant("tones.pattern", _one_note_too_many),
    Plant("tones.pitch", _notes_swapped),
]
