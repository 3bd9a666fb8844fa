"""From a drive and a scenario to the constants of the plant."""

import math
from dataclasses import replace
from pathlib import Path

import pytest

from dryspin.drive import Bridge, Controller, Drive, Firmware, Load, Motor, Range, Sense, Supply, Throttle
from dryspin.plant.parameters import k_phase_v_s, plant_params
from dryspin.scenario import Fault, Scenario


def thruster() -> Drive:
    """The bow thruster of a model harbour tug; Kv within 10 % either way."""
    exactly = Range.exactly
    return Drive(
        path=Path("drive.toml"),
        name="bow thruster",
        firmware=Firmware(("*.c",), (".",), {}, ""),
        motor=Motor(
            Range(900.0, 1000.0, 1100.0), "no-load test", exactly(0.08), exactly(28e-6), 7, exactly(1.5e-5)
        ),
        load=Load(exactly(1e-7), exactly(3e-3), exactly(2e-6)),
        bridge=Bridge(exactly(5e-3), exactly(0.7), "high side", 31372.5, 500.0, True, 40.0, 16.0, 0.05),
        supply=Supply("pack", Range(9.6, 11.1, 12.6), exactly(0.025), True, exactly(470e-6)),
        sense=Sense(33e3, 10e3, Range(-0.04, 0.0, 0.04), exactly(5e-7)),
        controller=Controller("mega168", 16e6, "crystal", 5.0, 0),
        throttle=Throttle(1500.0, 1900.0, 1100.0, 25.0, 800.0, 2200.0),
    )


def scenario(parts: dict[str, float], speed_rpm: tuple[tuple[float, float], ...] = ()) -> Scenario:
    """A second of nothing but these parts."""
    return Scenario(
        seed=1,
        end_s=1.0,
        rest_deg=0.0,
        frame_ms=20.0,
        throttle_us=((0.0, 1500.0),),
        speed_rpm=speed_rpm,
        parts=parts,
    )


def test_parts_left_out_are_nominal() -> None:
    """A scenario that says nothing runs the drive as described."""
    params = plant_params(thruster(), scenario({}))

    assert params.k_v_s == pytest.approx(thruster().motor.k_phase_v_s)
    assert (params.r_ohm, params.l_h, params.pole_pairs, params.j_kg_m2) == (0.08, 28e-6, 7, 1.5e-5)
    assert (params.kq_nm_s2, params.coulomb_nm, params.b_nm_s) == (1e-7, 3e-3, 2e-6)
    assert (params.r_on_ohm, params.v_f_v, params.r_supply_ohm, params.c_bus_f) == (5e-3, 0.7, 0.025, 470e-6)
    assert (params.sinks, params.stiff, params.fixed_speed) == (True, False, False)
    assert (params.divider, params.offset_v, params.delay_s) == (pytest.approx(10.0 / 43.0), 0.0, 5e-7)


@pytest.mark.parametrize(
    ("part", "field"),
    [
        ("r_phase", "r_ohm"),
        ("l_phase", "l_h"),
        ("j", "j_kg_m2"),
        ("kq", "kq_nm_s2"),
        ("coulomb", "coulomb_nm"),
        ("r_on", "r_on_ohm"),
        ("v_f", "v_f_v"),
        ("r_supply", "r_supply_ohm"),
        ("c_bus", "c_bus_f"),
    ],
)
def test_factor_acts_on_its_own_parameter_alone(part: str, field: str) -> None:
    """`parts` are factors on the nominal values."""
    nominal = plant_params(thruster(), scenario({}))

    varied = plant_params(thruster(), scenario({part: 1.25}))

    assert varied == replace(nominal, **{field: 1.25 * getattr(nominal, field)})


def test_more_speed_per_volt_means_less_emf_per_speed() -> None:
    """kv is the inverse of the EMF constant: a factor on it divides k."""
    k = plant_params(thruster(), scenario({})).k_v_s

    assert plant_params(thruster(), scenario({"kv": 1.1})).k_v_s == pytest.approx(k / 1.1, rel=1e-12)


def test_offset_and_delay_are_absolute() -> None:
    """A nominal offset of 0 V has no useful factor."""
    params = plant_params(thruster(), scenario({"offset_v": -0.02, "delay_s": 7e-7}))

    assert (params.offset_v, params.delay_s) == (-0.02, 7e-7)


def test_stated_speed_means_a_driven_rotor() -> None:
    """A scenario with `speed_rpm` turns the rotor itself."""
    assert plant_params(thruster(), scenario({}, ((0.0, 300.0),))).fixed_speed


def test_source_without_resistance_makes_a_stiff_bus() -> None:
    """The bus capacitor across an ideal source has no say."""
    drive = thruster()
    ideal = replace(drive, supply=replace(drive.supply, r_ohm=Range.exactly(0.0)))

    assert plant_params(ideal, scenario({})).stiff


def test_two_phases_give_the_published_torque_constant() -> None:
    """2 k = 60 / (2 pi Kv), 9.5493 mNm/A at 1000 rpm/V ("Motor constants", tickerdossier.com)."""
    assert 2.0 * k_phase_v_s(1000.0) == pytest.approx(60.0 / (2.0 * math.pi * 1000.0), rel=1e-12)
    assert 2.0 * k_phase_v_s(1000.0) == pytest.approx(9.5493e-3, rel=1e-5)


STATED = {
    "motor": {
        "back_emf": "sine",
        "third_harmonic": 0.1,
        "r_factors": (1.0, 1.1, 0.9),
        "l_factors": (1.05, 1.0, 0.95),
        "k_factors": (0.98, 1.0, 1.02),
        "mutual_h": (1e-6, 0.0, -1e-6),
    },
    "load": {"static_nm": Range(4e-3, 5e-3, 6e-3)},
    "bridge": {"diode_slope_ohm": Range.exactly(12e-3)},
    "supply": {"esr_ohm": Range(0.02, 0.03, 0.06)},
    "sense": {"tau_s": Range(1e-6, 2e-6, 3e-6), "pin_clamp_v": 5.3},
}


def stated() -> Drive:
    """The thruster with everything stated that may be left out."""
    drive = thruster()
    tables = {name: replace(getattr(drive, name), **keys) for name, keys in STATED.items()}
    return replace(drive, **tables)  # type: ignore[arg-type]


def test_what_a_drive_states_reaches_the_plant() -> None:
    """One by one; the clamp is stated at the pin, the plant has it at the terminal."""
    params = plant_params(stated(), scenario({}))

    assert (params.shape, params.third_harmonic) == ("sine", 0.1)
    assert params.r_factors == (1.0, 1.1, 0.9)
    assert params.l_factors == (1.05, 1.0, 0.95)
    assert params.k_factors == (0.98, 1.0, 1.02)
    assert params.m_h == (1e-6, 0.0, -1e-6)
    assert params.static_nm == 5e-3
    assert params.diode_slope_ohm == 12e-3
    assert params.esr_ohm == 0.03
    assert params.sense_tau_s == 2e-6
    assert params.pin_clamp_v == pytest.approx(5.3 * 4.3)


def test_parts_vary_it() -> None:
    """Factors on the nominal value, as for every other part."""
    factors = {"static": 1.2, "esr": 2.0, "tau": 0.5, "diode_slope": 0.75}
    params = plant_params(stated(), scenario(factors))

    assert params.static_nm == pytest.approx(6e-3)
    assert params.esr_ohm == pytest.approx(0.06)
    assert params.sense_tau_s == pytest.approx(1e-6)
    assert params.diode_slope_ohm == pytest.approx(9e-3)


def test_warm_copper_resists_more() -> None:
    """Annealed copper gains 0.393 % of its resistance at 20 C per kelvin (IEC 60028): at 80 C 23.6 %."""
    params = plant_params(thruster(), scenario({"winding_c": 80.0}))
    assert params.r_ohm == pytest.approx(0.08 * 1.2358)


def test_an_open_lead_is_a_fault_of_the_scenario() -> None:
    """From power-on, one phase or more."""
    faults = (Fault("lead open", 0.0, phase="V"),)
    assert plant_params(thruster(), replace(scenario({}), faults=faults)).broken == (False, True, False)
    assert plant_params(thruster(), scenario({})).broken == (False, False, False)
