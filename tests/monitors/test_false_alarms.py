"""What a healthy drive may do is not held against it, and what was not put to the test shows as such."""

from dataclasses import replace

import numpy as np
import pytest

from dryspin.monitors import Status, judge, known_claims
from dryspin.monitors.offset import offset_deg
from dryspin.recording import EDGE, STATE, Leg, Mark, Recording, Signal

from .controller_cases import LOOP_S, loops
from .courtroom import broken, until, verdicts
from .rites import sail
from .synthetic import FORWARD_US, NEUTRAL_US, Story, thruster
from .voyage import Voyage, voyage

REVERSAL = {"reverse_at_s": 1.1, "end_s": 2.1}


@pytest.fixture(scope="module")
def reversal() -> Recording:
    """The ideal voyage with a reversal."""
    return voyage(**REVERSAL).recording()


def test_the_ideal_voyage_breaks_nothing(reversal):
    """Rite, start, run, reversal as the book has them; every claim that speaks of it holds."""
    found = verdicts(reversal)
    silent = {name for name, verdict in found.items() if verdict.status == Status.NOT_EXERCISED}

    assert broken(found) == set()
    # No reset, no bad pulse, no loss of signal happens in it, none of the rotor, to be joined while it turns,
    # no tone and no learning; but full ahead is held as long as calibration asks for, which must not come.
    rites = {name for name in found if name.split(".")[0] in ("calibration", "tones")} - {"calibration.entry"}
    assert silent == rites | {
        "gates.reset_opens",
        "synchronism.recovers",
        "synchronism.joining",
        # Nothing is said to be precharged.
        "startup.charged",
        "arming.bad_pulses",
        "arming.after_reset",
        "arming.loss",
        # One position of the stick each way, and the rotor has no time to settle in reverse.
        "throttle_map.rising",
        "throttle_map.alike",
        "throttle_map.usable_steps",
        # Nor is it held full out for longer than a drive's slew takes.
        "throttle_map.full",
        # The ideal steps are taken by no handler, and no code goes round in circles.
        "controller.latency",
        "controller.loop_opens",
    }


@pytest.mark.parametrize("end_s", np.arange(0.013, 2.1, 0.0673))
def test_a_recording_may_end_in_the_middle_of_anything(reversal, end_s):
    """What had no time to be done is not judged: the end of a recording is nobody's fault."""
    assert broken(verdicts(until(reversal, float(end_s)))) == set()


def test_an_empty_run_exercises_only_what_holds_of_rest():
    """Nothing happened; only "nothing driven", "the rotor stood still", "no bite" were put to the test."""
    story = Story(throttle=[(0.0, 0.0)], end_s=0.2)
    found = verdicts(story.recording())

    assert {name for name, v in found.items() if v.status == Status.HELD} == {
        "arming.idle",
        "arming.rotor_still",
        "controller.fed",
    }
    assert {v.status for v in found.values()} == {Status.HELD, Status.NOT_EXERCISED}
    assert all(v.margin is None and v.text for v in found.values() if v.status == Status.NOT_EXERCISED)


def test_a_capture_without_the_inside_tells_of_its_pins_only():
    """A logic analyser sees FETs and throttle; it cannot clear a claim about the rotor."""
    run = voyage().recording()
    pins = [*range(3), int(Signal.THROTTLE), int(Signal.RESET)]
    capture = replace(run, edges=run.edges[np.isin(run.edges["signal"], pins)], states=np.zeros(0, STATE))
    found = {verdict.name: verdict.status for verdict in judge(capture)}

    assert found["gates.both_fets"] == found["gates.dead_time"] == Status.HELD
    assert found["gates.pattern"] == found["commutation.angle"] == Status.CANNOT_TELL
    assert found["reversal.phase_current"] == Status.CANNOT_TELL


def test_a_recording_of_nothing_is_judged_without_a_word_on_anything():
    """Not even edges at power-on: every claim says that it cannot tell."""
    run = replace(voyage().recording(), edges=np.zeros(0, EDGE), states=np.zeros(0, STATE))
    assert {verdict.status for verdict in judge(run)} == {Status.CANNOT_TELL}


@pytest.mark.parametrize("us", [1539.2, 1540.8, 1460.8, 1459.2])
def test_a_stick_within_two_ticks_of_the_dead_band_may_arm_and_may_not(us):
    """The firmware measures in half microseconds: at the border either answer is right."""
    armed, silent = voyage(), Story(end_s=1.5)
    armed.throttle[0] = silent.throttle[0] = (0.0, us)
    silent.mark(0.001, Mark.OFF)

    assert verdicts(armed.recording())["arming.rite"].status == Status.HELD
    assert broken(verdicts(silent.recording())) == set()


@pytest.mark.parametrize("us", [799.2, 800.8, 2199.2, 2200.8])
def test_a_pulse_within_two_ticks_of_validity_may_count_and_may_not(us):
    """Lost or there: both are right, so neither a loss nor a bad pulse may be held against it."""
    found = voyage()
    found.throttle += [(1.2, us), (1.22, FORWARD_US)]

    assert verdicts(found.recording())["arming.bad_pulses"].status == Status.NOT_EXERCISED


def test_a_stick_just_outside_the_dead_band_need_not_start_the_motor():
    """A hysteresis of half the dead band keeps a resting stick from stuttering."""
    story = Story(end_s=2.5)
    story.mark(0.001, Mark.OFF)
    story.mark(0.52, Mark.ARMED)
    story.throttle.append((0.6, NEUTRAL_US + 55.0))

    assert broken(verdicts(story.recording())) == set()


def test_a_start_cut_short_by_the_stick_is_not_judged():
    """Back at neutral after 0.3 s: nobody knows whether it would have started."""
    story = voyage(start_takes_s=0.6, end_s=1.5)
    story.throttle.append((0.9, NEUTRAL_US))
    claim = verdicts(until(story.recording(), 1.1))["startup.in_time"]

    assert claim.status == Status.NOT_EXERCISED


@pytest.mark.parametrize(
    "outside",
    [
        {"speed_rpm": ((0.0, 0.0),)},
        {"supply_v": ((0.0, 9.0),)},
        {"load_factor": ((0.0, 1.6),)},
        {"load_nm": ((0.0, 0.01),)},
    ],
)
def test_a_start_outside_the_envelope_is_not_asked_for(outside):
    """A blocked rotor, a flat pack, more water than declared: the drive may fail, if it does so safely."""
    run = voyage(align_s=0.9, start_takes_s=1.0, end_s=1.9, scenario=outside).recording()
    found = verdicts(run)

    assert found["startup.in_time"].status == Status.NOT_EXERCISED
    assert found["startup.swing_back"].status == Status.NOT_EXERCISED


OFFSET_V = 0.04
RPM = 1500.0


def _moved_deg() -> float:
    drive = thruster()
    w_rad_s = np.array([RPM * np.pi / 30])
    return float(offset_deg(np.array([OFFSET_V]), w_rad_s, drive.motor.k_phase_v_s, drive.sense.ratio)[0])


@pytest.mark.parametrize(("offset_v", "status"), [(OFFSET_V, Status.HELD), (0.0, Status.BROKEN)])
def test_the_worst_comparator_offset_excuses_what_it_causes_and_no_more(offset_v, status):
    """At 1500 rpm 40 mV move rising crossings one way and falling ones the other; a delay of half the last
    interval doubles that. The same steps on a comparator without offset are the firmware's own fault."""
    run = voyage(
        top_rpm=RPM, alternating_deg=1.0 + 2.0 * _moved_deg(), scenario={"parts": {"offset_v": offset_v}}
    ).recording()

    assert 2.0 * _moved_deg() > 20.0
    assert verdicts(run)["commutation.angle"].status == status


def test_comparator_noise_excuses_crossings_as_an_offset_does():
    """Four standard deviations of 10 mV come as often as crossings do."""
    late = {"top_rpm": RPM, "crossing_late_deg": 0.9 * _moved_deg() + 15.0}
    quiet = voyage(**late).recording()
    noisy = voyage(**late, scenario={"comparator_noise_mv": ((0.0, 10.0),)}).recording()

    assert verdicts(quiet)["commutation.false_crossings"].status == Status.BROKEN
    assert verdicts(noisy)["commutation.false_crossings"].status == Status.HELD


def test_bad_pulses_while_running_are_held_when_nothing_changes():
    """One pulse of 2.3 ms between good ones, and the drive goes on as before."""
    story = voyage()
    story.throttle += [(1.2, 2300.0), (1.22, FORWARD_US)]
    verdict = verdicts(story.recording())["arming.bad_pulses"]

    assert (verdict.status, verdict.seen) == (Status.HELD, 0.0)


def test_a_lost_signal_that_opens_the_gates_is_held_and_rearmed_with_the_rite():
    """Off 0.1 s after the last pulse, back with a full rite: both claims hold."""
    knobs = Voyage(neutral_at_s=1.2, steps_go_on_s=0.08, stops_as=Mark.OFF, end_s=2.6)
    story = knobs.story()
    story.throttle[-1] = (1.2, 0.0)
    story.throttle.append((1.6, NEUTRAL_US))
    story.mark(2.2, Mark.ARMED)
    found = verdicts(story.recording())

    assert broken(found) == set()
    assert found["arming.loss"].seen == pytest.approx(0.1, abs=0.01)
    assert found["arming.rite"].status == Status.HELD


def test_a_reset_while_driven_is_held_when_the_gates_open_at_once():
    """The pins fall open with the reset itself; the rite is then due again and was not asked for."""
    knobs = Voyage(neutral_at_s=1.19, stops_as=Mark.OFF)
    story = knobs.story()
    story.edge(knobs.off_s, Signal.RESET, 2)
    found = verdicts(story.recording())

    assert broken(found) == set()
    assert found["gates.reset_opens"].status == Status.HELD


def test_a_leg_that_changes_between_high_and_chopped_takes_no_step():
    """At full duty a firmware may hold the leg high: the pattern is the same."""
    story = voyage()
    leg, at_s = next(
        (s, t) for t, s, value in story.edges if t > 1.2 and s in range(3, 6) and value == Leg.CHOPPED
    )
    story.edge(at_s + 1e-4, Signal(leg), Leg.HIGH)
    story.edge(at_s + 2e-4, Signal(leg), Leg.CHOPPED)

    assert verdicts(story.recording())["commutation.order"].status == Status.HELD


def test_every_claim_is_judged_in_every_recording(reversal):
    """A claim left out would read as held."""
    assert tuple(verdict.name for verdict in judge(reversal)) == known_claims()


def test_a_rotor_that_is_held_has_no_right_angle():
    """Without EMF there is no crossing to be right about; how long it is driven, synchronism asks."""
    held = voyage(late_deg=60.0, crossing_late_deg=60.0, scenario={"speed_rpm": ((0.0, 0.0),)}).recording()
    free = voyage(late_deg=60.0, crossing_late_deg=60.0).recording()

    for claim in ("commutation.angle", "commutation.false_crossings"):
        assert verdicts(held)[claim].status == Status.NOT_EXERCISED
        assert verdicts(free)[claim].status == Status.BROKEN


def test_half_a_pattern_left_by_dead_code_is_not_held_against_the_bridge():
    """A loop that begins between two legs leaves one of them: how long is asked by the loop's own claim."""
    story = loops(0.1)
    story.legs(LOOP_S - 4e-6, Leg.LOW, Leg.OPEN, Leg.OPEN)
    dead = verdicts(story.recording())
    story.scenario = {}
    blamed = verdicts(story.recording())

    assert dead["gates.pattern"].status == Status.HELD
    assert blamed["gates.pattern"].status == Status.BROKEN


def test_a_rotor_that_dead_code_lets_stand_is_the_loops_affair():
    """A light rotor stands long before the watchdog bites; how long that may take, the loop's claim asks."""
    story = loops(0.14)
    story.speeds = [(t, rpm) for t, rpm in story.speeds if t < LOOP_S] + [
        (LOOP_S, 6000.0),
        (LOOP_S + 0.01, 0.0),
    ]
    dead = verdicts(story.recording())
    story.scenario = {}
    blamed = verdicts(story.recording())

    assert dead["controller.loop_opens"].status == Status.HELD
    assert dead["synchronism.lost_drive"].status == Status.HELD
    assert blamed["synchronism.lost_drive"].status == Status.BROKEN


@pytest.mark.parametrize("clock", [0.9, 1.1])
def test_what_a_clock_makes_of_a_stick_is_not_held_against_the_map(reversal, clock):
    """A part that counts a tenth too fast takes 1364 us for 1500 us: its dead band and ways lie there."""
    off = verdicts(replace(reversal, f_cpu_hz=reversal.f_cpu_hz * clock))
    right = verdicts(reversal)

    for claim in ("throttle_map.dead_band", "throttle_map.rising", "throttle_map.alike"):
        assert off[claim].status == right[claim].status, claim
    assert off["throttle_map.dead_band"].status == Status.HELD


@pytest.mark.parametrize(("neutral_s", "status"), [(0.1, Status.NOT_EXERCISED), (0.4, Status.BROKEN)])
def test_a_stop_by_the_current_limit_excuses_less_duty_until_the_stick_has_rested_only(neutral_s, status):
    """A spared winding has cooled by the next demand; a hand that brushes neutral is none."""
    story = Story(end_s=9.0)
    story.mark(0.001, Mark.OFF)
    story.mark(0.515, Mark.ARMED)
    rest_s = sail(story, 0.6, [(FORWARD_US, 1.3, 255)])
    story.edge(1.5, Signal.OVER_CURRENT, 1)
    story.edge(1.5001, Signal.OVER_CURRENT, 0)
    story.end_s = 0.1 + sail(story, max(rest_s, 1.9 + neutral_s), [(FORWARD_US, 1.3, 150)])

    assert verdicts(story.recording())["throttle_map.full"].status == status


def test_a_drift_is_started_against_and_a_strong_stream_may_be_waited_for():
    """Torque of friction and propeller at a fifth of the ideal speed parts the two: what it takes to hold."""
    drive = thruster()
    ideal_rad_s = drive.motor.kv_rpm_per_v.nominal * drive.supply.v_v.nominal * np.pi / 30.0
    most_nm = drive.load.coulomb_nm.high + drive.load.kq_nm_s2.nominal * (0.2 * ideal_rad_s) ** 2

    def waits(push_nm):
        story = Story(end_s=7.2)
        story.mark(0.001, Mark.OFF)
        story.mark(0.515, Mark.ARMED)
        story.throttle.append((0.6, FORWARD_US))
        story.scenario["load_nm"] = ((0.0, push_nm),)
        return verdicts(story.recording())["startup.off_and_said"].status

    assert waits(0.95 * most_nm) == Status.BROKEN
    assert waits(1.05 * most_nm) == Status.NOT_EXERCISED
