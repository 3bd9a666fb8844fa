"""Values of traces between their points, throttle pulses, and the count of events."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryspin.scenario import Fault, Scenario, linear_value, step_value

from .strategy import scenarios

BASE = Scenario(seed=0, end_s=1.0, rest_deg=0.0, frame_ms=20.0, throttle_us=((0.0, 1500.0),))


def test_steps_hold_until_the_next_point():
    """The new value begins at its point."""
    trace = ((0.0, 1500.0), (1.0, 1900.0))

    assert [step_value(trace, t) for t in (0.0, 0.999, 1.0, 7.0)] == [1500.0, 1500.0, 1900.0, 1900.0]


def test_linear_traces_join_their_points_and_hold_beyond_the_last():
    """A ramp, then level."""
    trace = ((0.0, 12.0), (1.0, 10.0), (3.0, 14.0))

    assert [linear_value(trace, t, 0.0) for t in (0.0, 0.5, 1.0, 2.0, 3.0, 9.0)] == [12, 11, 10, 12, 14, 14]


def test_empty_trace_is_its_default_at_all_times():
    """The default is the caller's: nominal supply, factor 1, no torque."""
    assert linear_value((), 3.0, 11.1) == 11.1


@given(scenarios(), st.floats(0.0, 600.0))
def test_linear_value_stays_between_its_neighbours(scenario, t_s):
    """Interpolation must not overshoot, however far apart the values are."""
    trace = scenario.supply_v or ((0.0, 5.0),)
    values = [value for _, value in trace]
    # One rounding of the largest value is all that may be added.
    slack = max(values) * 1e-15

    assert min(values) - slack <= linear_value(trace, t_s, 0.0) <= max(values) + slack


def test_first_pulse_rises_half_a_frame_after_power_on_the_others_a_frame_apart():
    """Frames of 20 ms (owiki.org, servo control: 6 to 25 ms in use)."""
    pulses = BASE.pulses()

    assert pulses[0] == (0.01, 1500.0)
    assert pulses[1] == (0.03, 1500.0)
    assert len(pulses) == 50


def test_pulse_has_the_width_set_when_it_rises():
    """A step during a pulse counts from the next one on."""
    scenario = Scenario(0, 0.1, 0.0, 20.0, ((0.0, 1500.0), (0.03, 1900.0), (0.0505, 1100.0)))

    assert [width_us for _, width_us in scenario.pulses()] == [1500.0, 1900.0, 1900.0, 1100.0, 1100.0]


def test_width_of_zero_is_a_frame_without_a_pulse():
    """A lost radio link; the frames go on where they would have been."""
    scenario = Scenario(0, 0.1, 0.0, 20.0, ((0.0, 1500.0), (0.02, 0.0), (0.06, 1500.0)))

    assert scenario.pulses() == [(0.01, 1500.0), (0.07, 1500.0), (0.09, 1500.0)]


@pytest.mark.parametrize("frame_ms", [2.5, 6.0, 16.7, 22.5])
def test_edges_do_not_drift_over_many_frames(frame_ms):
    """The last edge of ten minutes lies on the exact grid, to one rounding."""
    rise_s, _ = Scenario(0, 600.0, 0.0, frame_ms, ((0.0, 1500.0),)).pulses()[-1]
    frame_s = Fraction(str(frame_ms)) / 1000
    frames = round(Fraction(rise_s) / frame_s - Fraction(1, 2))

    assert rise_s == pytest.approx(float((frames + Fraction(1, 2)) * frame_s), rel=3e-16)


def test_events_are_points_after_the_start_and_faults():
    """Shrinking counts them: what is there from power-on is no event."""
    scenario = Scenario(
        seed=0,
        end_s=4.0,
        rest_deg=0.0,
        frame_ms=20.0,
        throttle_us=((0.0, 1500.0), (1.0, 1900.0), (2.5, 1100.0)),
        supply_v=((0.0, 12.1), (2.0, 11.0)),
        load_nm=((0.0, 0.1),),
        faults=(Fault("reset", 1.0),),
    )

    assert scenario.events == 4
    assert BASE.events == 0
