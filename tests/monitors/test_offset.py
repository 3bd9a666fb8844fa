"""Allowances for sampling and comparator offset against worked values from outside."""

import numpy as np
import pytest

from dryspin.monitors.offset import RAMP_DEG, offset_deg, sampling_deg
from dryspin.units import k_phase_from_kv

RAD_S = np.pi / 30


@pytest.mark.parametrize(
    ("offset_v", "rpm", "degrees"),
    [
        (0.010, 500, 8.5),
        (0.010, 1000, 4.2),
        (0.010, 3000, 1.4),
        (0.040, 1000, 16.9),
        (0.040, 3000, 5.6),
    ],
)
def test_crossings_move_by_the_worked_angle(offset_v, rpm, degrees):
    """Trapezoid, divider 1/4.7, 1000 rpm/V: Vos / (k (2/3) 2E/60). The offsets are the comparator's of
    data sheet DS40002011A p. 385 (typ. 10 mV, max. 40 mV); the angles are worked from the formula."""
    moved = offset_deg(np.array([offset_v]), np.array([rpm * RAD_S]), k_phase_from_kv(1000.0), 1 / 4.7)
    assert moved[0] == pytest.approx(degrees, rel=0.02)


def test_an_offset_beyond_the_flat_top_hides_the_crossing():
    """40 mV at 500 rpm would be 33.8 degrees, but the slope of a trapezoid ends at 30: more is not to be had,
    and a rotor at rest has no crossing at all."""
    moved = offset_deg(np.array([0.04, 0.04]), np.array([500 * RAD_S, 0.0]), k_phase_from_kv(1000.0), 1 / 4.7)
    assert moved.tolist() == [RAMP_DEG, RAMP_DEG]


def test_no_offset_excuses_nothing_at_any_speed():
    """A perfect comparator at rest: zero by zero must not become an allowance."""
    assert offset_deg(np.zeros(2), np.array([0.0, 100.0]), 0.005, 0.2).tolist() == [0.0, 0.0]


@pytest.mark.parametrize(("f_e_hz", "degrees"), [(584, 13.1), (1400, 31.5), (3500, 78.8)])
def test_sampling_once_a_carrier_period_costs_the_worked_angle(f_e_hz, degrees):
    """360 f_e / f_pwm at 16 kHz; worked values, arithmetic."""
    w_rad_s = np.array([2 * np.pi * f_e_hz / 7])
    assert sampling_deg(w_rad_s, 7, 16e3)[0] == pytest.approx(degrees, rel=0.01)
