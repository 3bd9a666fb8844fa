"""Rites done right are not held against anybody, and what a recording cannot show is not claimed."""

from dataclasses import replace

import numpy as np
import pytest

from dryspin.drive import Range
from dryspin.monitors import Status
from dryspin.monitors.demand import read_demand
from dryspin.monitors.learning import learnings
from dryspin.monitors.limits import Limits
from dryspin.recording import Mark, Signal

from .courtroom import broken, until, verdicts
from .rite_cases import CUT_OFF, armed, learns, runs_again_after_a_jam, tone_at
from .rites import READY, Rite, counts_at, launch, play, two_sails
from .synthetic import FORWARD_US, Story, thruster

OLD, NEW = counts_at(160 / 360), counts_at(160 / 260)


@pytest.mark.parametrize("counts", [OLD, NEW])
def test_after_a_cut_the_old_range_is_right_and_so_is_the_new_one(counts):
    """Nobody can say which: the last byte may have been written or not."""
    found = verdicts(two_sails(CUT_OFF, counts, resets_s=(0.01,)).recording())

    assert broken(found) == set()
    assert found["calibration.old_or_new"].status == Status.HELD
    assert found["calibration.old_or_new"].seen == pytest.approx(0.0, abs=0.5)


def test_a_stick_where_both_ranges_ask_for_the_same_tells_nothing():
    """At 1900 us both give full duty: the claim was exercised, but this recording cannot tell."""
    found = verdicts(two_sails(CUT_OFF, 255, resets_s=(0.01,), us=1900.0).recording())

    assert found["calibration.old_or_new"].status == Status.CANNOT_TELL
    assert "never held still" in found["calibration.old_or_new"].text


def test_a_cut_before_the_first_byte_is_no_doubt():
    """Nothing was written, so the old range is in force; and old-or-new was not put to the test."""
    rite = replace(CUT_OFF, bytes_written=0)
    found = verdicts(two_sails(rite, OLD, resets_s=(0.01,)).recording())

    assert broken(found) == set()
    assert found["calibration.old_or_new"].status == Status.NOT_EXERCISED


def test_a_stored_range_that_is_obeyed_holds_everything():
    """Learnt, stored, armed by the new neutral, driven by the new full."""
    found = verdicts(two_sails(Rite(), NEW).recording())

    assert broken(found) == set()
    for claim in ("entry", "leaving", "sane_range", "writes"):
        assert found[f"calibration.{claim}"].status == Status.HELD, claim


def test_time_to_run_again_counts_from_the_end_of_a_short_jam():
    """No try is spent while the propeller is stuck for less than the pause that is due between two tries."""
    limit_s = Limits(thruster())["recover_s"]
    found = {
        share: verdicts(runs_again_after_a_jam(share * limit_s).recording())["synchronism.recovers"]
        for share in (0.97, 1.03)
    }

    assert found[0.97].status == Status.HELD
    assert found[1.03].status == Status.BROKEN
    assert found[1.03].limit == pytest.approx(limit_s + 0.1, abs=0.002)


def test_the_whole_way_of_a_servo_stick_is_learnt_as_it_is_held():
    """1000, 1500, 2000 us in frames of 20 ms (common practice, no source): 500 us each way."""
    run = learns(positions=(2000.0, 1500.0, 1000.0)).recording()
    (learnt,) = learnings(run)[0].sane

    assert broken(verdicts(run)) == set()
    assert learnt.forward_full_us == pytest.approx(2000.0, abs=learnt.slack_us)
    assert learnt.neutral_us == pytest.approx(1500.0, abs=learnt.slack_us)
    assert learnt.reverse_full_us == pytest.approx(1000.0, abs=learnt.slack_us)
    assert learnt.slack_us < 1.5


def test_a_stored_range_that_is_not_obeyed_is_found():
    """The firmware says that it is stored, and goes on by the old one."""
    assert broken(verdicts(two_sails(Rite(), OLD).recording())) == {"calibration.sane_range"}


@pytest.mark.parametrize("end_s", np.arange(0.05, 1.9, 0.0873))
def test_a_recording_may_end_anywhere_in_learning(end_s):
    """Half a rite is no fault."""
    assert broken(verdicts(until(learns().recording(), float(end_s)))) == set()


@pytest.mark.parametrize("end_s", np.arange(0.59, 1.0, 0.0213))
def test_a_recording_may_end_anywhere_in_a_tone(end_s):
    """Half a note is no fault."""
    assert broken(verdicts(until(tone_at().recording(), float(end_s)))) == set()


def test_a_tone_may_be_cut_short_by_the_stick():
    """What is asked goes before what is heard."""
    story = armed(0.9)
    play(story, 0.6, replace(READY, notes=(("C6", 70.0),)), back_to=Mark.ARMED)
    story.throttle.append((0.64, FORWARD_US))

    assert broken(verdicts(story.recording())) == set()


def test_a_tone_may_be_cut_short_by_arming():
    """The rite ends while the stick stands still: who hears the next tone knows that the drive is armed."""
    for after_s, status in ((1e-4, Status.NOT_EXERCISED), (0.1, Status.BROKEN)):
        story = Story(end_s=1.2)
        story.mark(0.001, Mark.OFF)
        off_s = play(story, 0.6, replace(READY, notes=(READY.notes[0],)))
        story.mark(off_s + after_s, Mark.ARMED)

        assert verdicts(story.recording())["tones.pattern"].status == status


def test_a_note_cut_to_a_click_has_no_pitch():
    """Four pulses, one of them 15 us late by another handler, are 9 cents low; so is a note that is heard."""
    for ms, status in ((4.0, Status.NOT_EXERCISED), (20.0, Status.BROKEN)):
        story = armed(0.9)
        play(story, 0.6, replace(READY, notes=(("C6", ms),)), back_to=Mark.ARMED, cents=-9.0)
        story.throttle.append((0.61, FORWARD_US))

        assert verdicts(story.recording())["tones.pitch"].status == status


def test_a_tone_whose_clock_is_fast_is_not_held_against_the_firmware():
    """Half a percent, 8.7 cents, is the oscillator's: notes are measured by the controller's own clock."""
    run = tone_at().recording()
    fast = replace(run, f_cpu_hz=run.f_cpu_hz * 1.005, end_cycle=run.end_cycle)

    assert verdicts(fast)["tones.pitch"].seen == pytest.approx(0.0, abs=0.1)


def test_the_learnt_neutral_arms_and_the_declared_one_does_not():
    """After 1800, 1400, 1000 the stick at 1500 asks for forward, and at 1400 for nothing."""
    story = learns(positions=(1800.0, 1400.0, 1000.0))
    stored_s = next(t for t, signal, value in story.edges if (signal, value) == (Signal.MARK, Mark.STORED))
    story.throttle += [(stored_s + 0.01, 1400.0), (stored_s + 0.2, 1500.0)]
    story.end_s = stored_s + 0.4
    demand = read_demand(story.recording())
    after = demand.falls_s > stored_s + 0.03

    assert np.all(demand.neutral[after & (demand.widths_us < 1450.0)])
    assert np.all(demand.forward[after & (demand.widths_us > 1450.0)])


def test_a_store_that_was_not_empty_leaves_the_stick_unclear():
    """Only the firmware knows the range in it: nothing is surely neutral, and everything may be."""
    story = Story(scenario={"store": "5aa5"})
    demand = read_demand(story.recording())

    assert np.all(demand.maybe_neutral & demand.maybe_forward & demand.maybe_reverse)
    assert not np.any(demand.neutral | demand.forward | demand.reverse | demand.not_neutral)


def test_a_lost_signal_may_be_told_by_a_tone():
    """All gates open but for what is heard."""
    story = armed(1.6)
    story.throttle.append((0.7, 0.0))
    story.mark(0.85, Mark.OFF)
    play(story, 1.2)

    assert broken(verdicts(story.recording())) == set()


def test_a_drive_that_declares_no_rites_has_none_to_be_judged_by():
    """Without [calibration] and [[tone]] the families are not exercised, unless it does them."""
    story = armed()
    story.drive = replace(thruster(), calibration=None, tones=())
    found = verdicts(story.recording())

    assert {
        verdict.status for name, verdict in found.items() if name.startswith(("calibration", "tones"))
    } == {Status.NOT_EXERCISED}


def test_what_arms_during_a_tone_is_still_asked_to_start_in_time():
    """A tone is no excuse: behind it the drive is armed."""
    story = armed(2.0)
    story.throttle.append((0.7, FORWARD_US))
    story.mark(0.65, Mark.TONE)
    story.edge(0.65, Signal.MARK, READY.mark)

    assert "startup.in_time" in broken(verdicts(story.recording()))


def test_an_unanswered_stick_at_neutral_is_no_loss():
    """A run that ends with the demand has not been lost."""
    found = verdicts(two_sails(Rite(), NEW).recording())

    assert found["synchronism.recovers"].status == Status.NOT_EXERCISED
    assert found["synchronism.lost_drive"].seen == 0.0


@pytest.mark.parametrize(("load_nm", "status"), [(0.0, Status.BROKEN), (0.01, Status.NOT_EXERCISED)])
def test_a_lost_rotor_that_the_water_keeps_turning_may_be_waited_for(load_nm, status):
    """0.01 Nm are more than friction holds: shorted windings would heat for nothing."""
    story = armed(8.5)
    story.throttle.append((0.6, FORWARD_US))
    story.edge(0.6, Signal.DUTY, 128)
    launch(story, 0.9, 1.2)
    story.stop(1.2, Mark.COAST)
    story.scenario["load_nm"] = ((0.0, load_nm),)

    assert verdicts(story.recording())["synchronism.recovers"].status == status


@pytest.mark.parametrize("lost", [0.0, 2300.0])
def test_what_is_off_again_after_a_failed_signal_has_a_reason(lost):
    """Three frames without a good pulse are more than two lost ones, whether they are missing or bad."""
    story = armed()
    story.throttle += [(0.8, lost), (0.86, 1500.0)]
    story.mark(0.87, Mark.OFF)

    assert "arming.kept" not in broken(verdicts(story.recording()))


def test_what_is_off_again_by_a_reset_has_a_reason():
    """A new start of the controller asks for the rite anew."""
    story = armed()
    story.edge(0.8, Signal.RESET, 2)
    story.mark(0.865, Mark.OFF)

    assert "arming.kept" not in broken(verdicts(story.recording()))


@pytest.mark.parametrize(
    "throttle",
    [
        [(0.0, 1500.0), (1.9, 1600.0)],
        [(0.0, 1500.0), (1.0, 0.0), (1.1, 1500.0)],
        [(0.0, 1500.0), (1.0, 2300.0), (1.02, 1500.0)],
    ],
)
def test_neutral_that_is_interrupted_need_not_arm(throttle):
    """Less than two seconds at a stretch: the stick moves on, frames are missing, a pulse is bad."""
    story = Story(end_s=2.9, throttle=throttle)
    story.mark(0.001, Mark.OFF)

    assert "arming.accepted" not in broken(verdicts(story.recording()))


def test_a_longer_rite_that_is_declared_may_take_its_time():
    """Three seconds of neutral, says drive.toml: a quarter more is granted."""
    drive = thruster()
    declared = replace(drive, throttle=replace(drive.throttle, arming_s=Range(3.0, 3.0, 3.0)))
    for armed_s, status in ((3.5, Status.HELD), (4.2, Status.BROKEN)):
        story = Story(end_s=4.5, drive=declared)
        story.mark(0.001, Mark.OFF)
        story.mark(armed_s, Mark.ARMED)

        assert verdicts(story.recording())["arming.accepted"].status == status


def test_a_rotor_that_turns_may_keep_a_drive_from_learning_and_arming():
    """What turns cannot be listened to: learning waits, and so may arming."""
    for width_us in (1500.0, 1800.0):
        story = Story(end_s=3.0, throttle=[(0.0, width_us)], speeds=[(0.0, 400.0)])
        story.mark(0.001, Mark.OFF)
        found = verdicts(story.recording())

        assert found["arming.accepted"].status == Status.NOT_EXERCISED
        assert found["calibration.let_in"].status == Status.NOT_EXERCISED


def test_the_stick_up_after_a_reset_is_not_asked_to_be_let_in():
    """Only power-on opens the way into learning."""
    story = Story(end_s=3.0)
    story.mark(0.001, Mark.OFF)
    story.throttle = [(0.0, 1500.0), (0.3, 1800.0)]
    story.edge(0.3, Signal.RESET, 2)
    story.mark(0.365, Mark.OFF)

    assert verdicts(story.recording())["calibration.let_in"].status == Status.NOT_EXERCISED
