"""Carriers of the part, held against the worked examples of its data sheets."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryspin.drive.carrier import carriers, nearest

# Formulae f/(256 N) and f/(510 N): ATmega128 2467P pp. 152, 154. The first two figures are quoted
# in forum.arduino.cc 123388, the others follow from the formulae.
PUBLISHED = [
    ("fast", 64, 976.5625),
    ("phase-correct", 64, 490.1961),
    ("fast", 1, 62_500.0),
    ("phase-correct", 1, 31_372.55),
    ("fast", 8, 7_812.5),
    ("phase-correct", 8, 3_921.57),
]


@pytest.mark.parametrize(("mode", "prescaler", "f_hz"), PUBLISHED)
def test_carrier_at_16_mhz_is_the_published_one(mode, prescaler, f_hz):
    """Also found again as the nearest to its rounded figure."""
    carrier = nearest(f_hz, 16e6)

    assert (carrier.mode, carrier.prescaler) == (mode, prescaler)
    assert carrier.f_hz == pytest.approx(f_hz, rel=2e-7, abs=0.006)


@given(f_cpu_hz=st.floats(1e6, 20e6))
def test_exactly_one_carrier_is_on_the_rig_at_any_clock(f_cpu_hz):
    """Phase-correct without prescaler: 510 CPU cycles a period."""
    on_rig = [carrier for carrier in carriers(f_cpu_hz) if carrier.on_rig]

    assert len(on_rig) == 1
    assert on_rig[0].f_hz == f_cpu_hz / 510


def test_rig_carrier_follows_the_clock(tmp_path):
    """8 MHz gives half the carrier; the file may round it to whole hertz."""
    from dryspin.drive import load_drive

    from .sheet import write_sheet

    path = write_sheet(tmp_path, controller={"f_cpu_hz": 8e6}, bridge={"f_pwm_hz": 15686})
    assert load_drive(path).bridge.f_pwm_hz == 15686
