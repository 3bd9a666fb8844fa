"""The drives shipped with the bow thruster: they load, and their numbers agree with each other."""

import math
from pathlib import Path

import pytest

from dryspin.drive import Drive, Range, load_drive
from dryspin.scenario import part_ranges

BOW_THRUSTER = Path(__file__).parents[2] / "firmware_under_test" / "bow_thruster"
OTHERS = sorted((BOW_THRUSTER / "drives").glob("*.toml"))


@pytest.fixture(scope="module", params=["drive.toml", "drive_lab_supply.toml"])
def drive(request: pytest.FixtureRequest) -> Drive:
    """Each of the two."""
    return load_drive(BOW_THRUSTER / request.param)


@pytest.fixture(scope="module")
def pack() -> Drive:
    """The default drive."""
    return load_drive(BOW_THRUSTER)


@pytest.fixture(scope="module")
def lab() -> Drive:
    """The same thruster on the bench."""
    return load_drive(BOW_THRUSTER / "drive_lab_supply.toml")


def test_pack_drive_turns_11100_rpm_at_no_load_with_24_carrier_periods_a_revolution(pack):
    """The header of drive.toml says so; an open phase is seen once per carrier period at least."""
    no_load_rpm = pack.motor.kv_rpm_per_v.nominal * pack.supply.v_v.nominal
    electrical_hz = no_load_rpm / 60.0 * pack.motor.pole_pairs

    assert no_load_rpm == pytest.approx(11_100)
    assert electrical_hz == pytest.approx(1295)
    assert pack.bridge.f_pwm_hz / electrical_hz == pytest.approx(24.2, abs=0.05)


def test_propeller_balances_the_motor_near_9200_rpm_and_10_a(pack):
    """Positive root of kq w^2 + (kt^2/R) w + Tc - kt V/R = 0, the DC equivalent (textbook)."""
    kt, kq, coulomb = pack.motor.kt_nm_per_a, pack.load.kq_nm_s2.nominal, pack.load.coulomb_nm.nominal
    r = 2 * (pack.motor.r_phase_ohm.nominal + pack.bridge.r_on_ohm.nominal) + pack.supply.r_ohm.nominal
    b, c = kt**2 / r, coulomb - kt * pack.supply.v_v.nominal / r
    w = (-b + math.sqrt(b * b - 4 * kq * c)) / (2 * kq)

    assert w * 60 / (2 * math.pi) == pytest.approx(9160, rel=1e-3)
    assert (kq * w * w + coulomb) / kt == pytest.approx(9.95, rel=1e-3)
    # What the machine takes from the supply equals what it turns plus what it heats.
    current = (kt * pack.supply.v_v.nominal / r - b * w) / kt
    assert pack.supply.v_v.nominal * current == pytest.approx(current**2 * r + kt * w * current)


def test_locked_rotor_draws_57_a_more_than_the_fets_bear(pack):
    """The claim on peak current would be empty on a drive that cannot reach it."""
    r = 2 * (pack.motor.r_phase_ohm.nominal + pack.bridge.r_on_ohm.nominal) + pack.supply.r_ohm.nominal

    assert pack.supply.v_v.nominal / r == pytest.approx(56.9, abs=0.1)
    assert pack.supply.v_v.nominal / r > pack.bridge.i_peak_max_a


def test_hot_winding_is_80_k_of_copper_above_nominal(pack):
    """R = R20 (1 + 0.00393 dT) (TI SPRUHJ1)."""
    r = pack.motor.r_phase_ohm

    assert r.high / r.nominal == pytest.approx((1 + 0.00393 * 80), rel=0.02)


def test_default_numbers_are_those_of_the_design(pack):
    """Figures quoted elsewhere (arming, start, reversal) were found on this drive."""
    assert pack.motor.kv_rpm_per_v.nominal == 1000
    assert pack.motor.pole_pairs == 7
    assert pack.supply.v_v == Range(9.6, 11.1, 12.6)
    assert pack.sense.ratio == pytest.approx(10 / 43)
    assert pack.motor.k_phase_v_s == pytest.approx(0.0047746, rel=1e-4)


def test_lab_board_bears_25_v_at_fets_and_sense_pin(lab):
    """A supply that cannot sink lets braking pump the bus above its 20 V; the board is for 25 V."""
    assert not lab.supply.sinks
    assert lab.supply.v_v == Range(8, 13, 20)
    assert lab.bridge.v_max_v == 25
    assert 25 * lab.sense.ratio <= lab.controller.v_supply_v


def test_lab_drive_shares_all_but_supply_board_and_propeller(pack, lab):
    """One firmware, one motor: only the bench differs."""
    assert lab.load.kq_nm_s2.low == 0.0
    for part in ("motor", "controller", "throttle", "calibration", "tones"):
        assert getattr(lab, part) == getattr(pack, part)
    assert lab.firmware.sources == pack.firmware.sources
    assert lab.layers == (BOW_THRUSTER,)


def test_tone_pulse_stays_far_below_the_peak_current(pack):
    """i = V t / 2L through two phases without resistance, the rotor at rest: an upper bound (textbook)."""
    for tone in pack.tones:
        i_a = pack.supply.v_v.high * tone.pulse_us * 1e-6 / (2 * pack.motor.l_phase_h.nominal)

        assert i_a < 7.0
        assert i_a < 0.2 * pack.bridge.i_peak_max_a


def test_the_rites_are_declared(pack):
    """What the pilot is told: two seconds of full stick, half a second each, and nine tones."""
    calibration = pack.calibration

    assert calibration.enter_frames * 20 == 2000
    assert calibration.hold_frames * 20 == 500
    assert calibration.order == ("high", "neutral", "low")
    assert {tone.mark: tone.name for tone in pack.tones} == {
        32: "ready", 33: "waiting", 34: "calibrating", 35: "stored", 36: "not stored", 37: "lost",
        38: "fault", 39: "pack low", 40: "greeting",
    }  # fmt: skip
    assert pack.tones[0].length_s == pytest.approx(0.3)


def test_comparator_bounds_are_those_of_the_data_sheet(drive):
    """DS40002011A p. 385: offset at most 40 mV, propagation delay 500 to 750 ns."""
    assert drive.sense.offset_v == Range(-0.04, 0.0, 0.04)
    assert drive.sense.delay_s.low == 500e-9
    assert drive.sense.delay_s.high == 750e-9


@pytest.mark.parametrize("path", OTHERS, ids=lambda path: path.stem)
def test_every_other_drive_runs_the_shipped_firmware_unchanged(pack, path):
    """What is found on it speaks of the firmware that is shipped; only choices of settings.h may differ."""
    other = load_drive(path)

    assert other.layers == (path.parent, BOW_THRUSTER)
    assert other.firmware.sources == pack.firmware.sources
    assert not other.firmware.change
    assert not list(path.parent.glob("*.[ch]"))
    assert set(other.firmware.defines) <= {"CPU_MHZ"}
    assert other.name != pack.name
    assert (other.throttle, other.calibration, other.tones) == (pack.throttle, pack.calibration, pack.tones)


@pytest.mark.parametrize(
    ("name", "length"), [("larger_motor", 4 / 3), ("smaller_motor", 0.7), ("rc_clock", 2.0)]
)
def test_other_motors_are_scaled_as_windings_are(pack, name, length):
    """k goes with turns times length, L with turns squared times length, R with turns squared times
    (length + 1) / 2, half of a turn lying outside the iron (from the geometry of a slot)."""
    motor, mine = pack.motor, load_drive(BOW_THRUSTER / "drives" / f"{name}.toml").motor
    turns = mine.k_phase_v_s / motor.k_phase_v_s / length

    assert mine.l_phase_h.nominal / motor.l_phase_h.nominal == pytest.approx(turns**2 * length, rel=0.05)
    assert mine.r_phase_ohm.nominal / motor.r_phase_ohm.nominal == pytest.approx(
        turns**2 * (length + 1) / 2, rel=0.05
    )


def test_one_drive_has_a_clock_that_may_be_a_tenth_off():
    """The internal oscillator at its factory calibration: 8 MHz and 10 %, data sheet 8161D table 28-1."""
    rc = load_drive(BOW_THRUSTER / "drives" / "rc_clock.toml")

    assert rc.controller.f_cpu_hz == 8e6
    assert part_ranges(rc)["clock"] == Range(0.9, 1.0, 1.1)
