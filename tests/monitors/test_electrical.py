"""Heat and ripple against what plain circuits give: a constant current through known elements."""

import math
from dataclasses import replace

import numpy as np
import pytest

from dryspin.monitors import Limits, Status, judge
from dryspin.monitors.carrying import TURNS, stretches_in_run
from dryspin.monitors.evidence import Evidence
from dryspin.recording import Leg, Mark, Recording, Signal
from dryspin.recording.signals import HIGH_FET, LOW_FET
from dryspin.scenario import Fault

from .synthetic import FORWARD_US, POLE_PAIRS, Story, thruster

AMPS = 12.0
FAST_RPM = 6000.0
TURNS_S = TURNS / (FAST_RPM / 60.0)


def carrying(amps: float, *legs: Leg, end_s: float = 0.9, to_rpm: float = FAST_RPM) -> Recording:
    """From 0.7 s the legs stay as they are in RUN, and `amps` go into U and out of W."""
    story = Story(end_s=end_s, speeds=[(0.0, 0.0), (0.6, 0.0), (0.7, FAST_RPM), (end_s, to_rpm)])
    story.mark(0.001, Mark.OFF)
    story.mark(0.515, Mark.ARMED)
    story.throttle.append((0.6, FORWARD_US))
    story.mark(0.7, Mark.RUN)
    story.edge(0.69, Signal.DUTY, 255)
    story.legs(0.7, *legs)
    story.current_spans.append((0.7, end_s + 1e-3, amps))
    return story.recording()


def seen(recording: Recording, claim: str) -> float:
    """What the monitor of `claim` saw."""
    verdict = {v.name: v for v in judge(recording)}[claim]
    assert verdict.seen is not None, verdict.text
    return verdict.seen


def test_the_stretch_is_the_last_two_turns_of_the_run():
    """A start's current is no steady load; two turns meet every pole pair."""
    run = carrying(AMPS, Leg.HIGH, Leg.OPEN, Leg.LOW)
    (stretch,) = stretches_in_run(Evidence(run, Limits(run.drive)))

    assert stretch.to_s == pytest.approx(0.9)
    assert stretch.to_s - stretch.from_s == pytest.approx(TURNS_S, abs=1e-4)
    turned = run.theta_at(stretch.to_s) - run.theta_at(stretch.from_s)
    assert turned == pytest.approx(2.0 * math.pi * TURNS * POLE_PAIRS, rel=1e-2)


def test_the_winding_ends_where_its_losses_meet_its_thermal_resistance():
    """T = Ta + Rth R20 (1 + a (T - 20)) sum(i^2), by iteration; a = 0.393 % per kelvin: IEC 60028."""
    run = carrying(AMPS, Leg.HIGH, Leg.OPEN, Leg.LOW)
    end_c = 40.0
    for _ in range(200):
        end_c = 40.0 + 6.0 * 0.08 * (1.0 + 0.00393 * (end_c - 20.0)) * 2.0 * AMPS**2

    assert seen(run, "electrical.winding_heat") == pytest.approx(end_c, rel=1e-3)


def test_a_winding_that_gains_more_heat_than_it_sheds_never_ends():
    """Beyond a Rth P20 = 1 each kelvin adds more loss than it sheds: 42.4 W, 16.3 A in two windings."""
    below, above = (carrying(amps, Leg.HIGH, Leg.OPEN, Leg.LOW) for amps in (15.9, 16.7))

    assert seen(below, "electrical.winding_heat") < 9999.0
    assert seen(above, "electrical.winding_heat") == 9999.0


def test_a_fet_that_stays_on_warms_by_its_resistance_alone():
    """r_on i^2 and no switching: 5 mohm, 30 K/W."""
    run = carrying(AMPS, Leg.HIGH, Leg.OPEN, Leg.LOW)
    assert seen(run, "electrical.fet_heat") == pytest.approx(40.0 + 30.0 * 5e-3 * AMPS**2, rel=1e-3)


def test_a_body_diode_warms_its_fet_by_its_drop():
    """All open, current into U and out of W: low diode of U, high diode of W; v_f i each."""
    run = carrying(AMPS, Leg.OPEN, Leg.OPEN, Leg.OPEN)
    (stretch,) = stretches_in_run(Evidence(run, Limits(run.drive)))

    assert stretch.mean(stretch.diodes(0, LOW_FET)) == pytest.approx(AMPS)
    assert stretch.mean(stretch.diodes(2, HIGH_FET)) == pytest.approx(AMPS)
    assert stretch.mean(stretch.diodes(0, HIGH_FET)) == stretch.mean(stretch.diodes(2, LOW_FET)) == 0.0
    assert seen(run, "electrical.fet_heat") == pytest.approx(40.0 + 30.0 * 0.7 * AMPS, rel=1e-3)


def test_every_switching_costs_half_of_volts_amperes_and_time():
    """One edge a millisecond and its return: 2000 edges a second of 12 A, 11.1 V, 5 us are 0.67 W."""
    run = carrying(AMPS, Leg.CHOPPED, Leg.OPEN, Leg.LOW)
    slow = replace(run, drive=replace(run.drive, heat=replace(run.drive.heat, switch_ns=5000.0)))
    free = replace(run, drive=replace(run.drive, heat=replace(run.drive.heat, switch_ns=0.0)))
    (stretch,) = stretches_in_run(Evidence(run, Limits(run.drive)))
    amps, volts = stretch.switchings(0, HIGH_FET)

    assert len(amps) == pytest.approx(2000.0 * TURNS_S, abs=2)
    assert np.all(volts == pytest.approx(11.1))
    # The high FET of U is the hottest with slow switching; its diode's heat goes to the low one.
    per_s = len(amps) / (stretch.to_s - stretch.from_s)
    on_w = 0.9 * 5e-3 * AMPS**2
    expected_c = 40.0 + 30.0 * (on_w + 0.5 * 12.0 * 11.1 * 5e-6 * per_s)
    assert seen(slow, "electrical.fet_heat") == pytest.approx(expected_c, rel=0.01)
    assert seen(free, "electrical.fet_heat") < expected_c


def test_the_capacitor_carries_what_the_source_does_not():
    """Bus at the source's own voltage: the source gives nothing, the capacitor all of 12 A."""
    run = carrying(AMPS, Leg.HIGH, Leg.OPEN, Leg.LOW)
    assert seen(run, "electrical.ripple") == pytest.approx(AMPS, rel=1e-3)

    sagging = run.states.copy()
    sagging["v_bus_v"] = 11.1 - AMPS * 0.025
    assert seen(replace(run, states=sagging), "electrical.ripple") == pytest.approx(0.0, abs=1e-3)


def test_without_ratings_heat_is_not_judged_and_said_so():
    """What nobody declared cannot be held; it must not look held either."""
    run = carrying(AMPS, Leg.HIGH, Leg.OPEN, Leg.LOW)
    bare = replace(run, drive=replace(thruster(), heat=None))
    for verdict in judge(bare):
        if verdict.name in ("electrical.winding_heat", "electrical.fet_heat", "electrical.ripple"):
            assert verdict.status == Status.NOT_EXERCISED
            assert "[heat]" in verdict.text


def test_a_sense_pin_follows_the_bus_through_the_divider():
    """33 k over 10 k: a terminal at 20.7 V is 4.81 V at the pin, 0.19 V inside a supply of 5 V."""
    run = carrying(AMPS, Leg.HIGH, Leg.OPEN, Leg.LOW)
    high = run.states.copy()
    high["v_bus_v"][len(high) // 2] = 26.0
    verdict = {v.name: v for v in judge(replace(run, states=high))}["electrical.sense_pin"]

    assert verdict.status == Status.BROKEN
    assert verdict.seen == pytest.approx(26.7 * 10.0 / 43.0 - 5.0, abs=1e-4)


def test_a_rotor_that_is_being_stopped_is_not_extrapolated():
    """What jams it lasts for turns, not for ever: the last ones of such a run say nothing of heat."""
    slowing = Story(
        end_s=0.9, speeds=[(0.0, 0.0), (0.6, 0.0), (0.7, FAST_RPM), (0.85, FAST_RPM), (0.9, 100.0)]
    )
    slowing.mark(0.001, Mark.OFF)
    slowing.mark(0.7, Mark.RUN)
    run = slowing.recording()
    assert stretches_in_run(Evidence(run, Limits(run.drive))) == []


def test_a_current_that_gives_the_rotor_speed_is_not_extrapolated():
    """J dw/dt against 2 k I, by hand: 12 A turn 1.5e-5 kg m2 with 115 mNm, 7640 rad/s2; a tenth may go there.

    A heavy propeller takes the current of a start for long, and its windings never see the end of it.
    """
    motor = thruster().motor
    gain_rad_s2 = 0.1 * 2.0 * motor.k_phase_v_s * AMPS / motor.j_kg_m2.nominal
    for share, stretches in ((0.8, 1), (1.2, 0)):
        to_rpm = FAST_RPM + share * gain_rad_s2 * 0.2 * 30.0 / math.pi
        run = carrying(AMPS, Leg.HIGH, Leg.OPEN, Leg.LOW, to_rpm=to_rpm)
        assert len(stretches_in_run(Evidence(run, Limits(run.drive)))) == stretches


def test_a_run_without_its_source_is_not_extrapolated():
    """The bus capacitor feeds it for some milliseconds: its current says nothing of a load that goes on."""
    run = carrying(AMPS, Leg.HIGH, Leg.OPEN, Leg.LOW)
    assert len(stretches_in_run(Evidence(run, Limits(run.drive)))) == 1
    for at_s, stretches in ((0.885, 0), (0.7, 1)):
        gap = replace(run.scenario, faults=(Fault("supply gap", at_s, 10.0),))
        found = stretches_in_run(Evidence(replace(run, scenario=gap), Limits(run.drive)))
        assert len(found) == stretches
