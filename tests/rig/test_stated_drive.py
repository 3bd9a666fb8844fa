"""What a drive file or a scenario states shows in a run, on the compiled plant and on the equations.

Each time a firmware of a few lines, a circuit small enough for a closed form, and the same figure
expected of both plants. That the two agree on everything together: test_two_plants.py.
"""

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from dryspin.build import Image, build_image
from dryspin.drive import Drive, Firmware, Range
from dryspin.monitors import Status, judge
from dryspin.plant.parameters import plant_params
from dryspin.recording import GATES, LEGS, Leg, Recording, Signal
from dryspin.recording.signals import LOW_FET
from dryspin.rig import Rig
from dryspin.scenario import Fault, read_scenario
from dryspin.units import rad_s_from_rpm

from ..small_firmware import BOW_THRUSTER, START_UP_CYCLES, Bench, scenario

REFERENCE = Path(__file__).parents[2] / "traces" / "by_hand" / "reference.toml"
START_S = START_UP_CYCLES / 16e6
PLANTS = ("twin", "equations")

WAIT = """
static inline void wait(uint16_t ticks)
{
    uint16_t from = port_ticks();
    while ((uint16_t)(port_ticks() - from) < ticks) {}
}
"""

COIL = (
    """
#include "say.h"
"""
    + WAIT
    + """
int main(void)
{
    port_sense_select(PORT_U);
    port_leg(PORT_V, PORT_LOW);
    port_leg(PORT_U, PORT_HIGH);
    wait(6000);
    port_all_open();
    SLEEP_FOREVER
}
"""
)
"""From U to V for 3 ms, then everything open."""

SHORTED = """
#include "say.h"
int main(void)
{
    port_leg(PORT_U, PORT_LOW);
    port_leg(PORT_V, PORT_LOW);
    port_leg(PORT_W, PORT_LOW);
    SLEEP_FOREVER
}
"""
"""All low FETs on: a generator with shorted windings."""

OPEN = """
#include "say.h"
int main(void)
{
    port_sense_select(PORT_U);
    SLEEP_FOREVER
}
"""
"""No FET is ever on."""

HELD = {"speed_rpm": ((0.0, 0.0),)}
"""The rotor is held."""

Run = Callable[..., Recording]


@pytest.fixture(scope="module")
def images(tmp_path_factory: pytest.TempPathFactory, thruster: Drive) -> dict[str, Image]:
    """The three firmwares, built once."""
    drive = replace(thruster, firmware=Firmware(("*.c",), (".",), {}, ""), layers=())
    folder = tmp_path_factory.mktemp("stated")
    return {
        text: Bench(folder / name, drive).image(text)
        for name, text in (("coil", COIL), ("shorted", SHORTED), ("open", OPEN))
    }


@pytest.fixture(params=PLANTS)
def run(request: pytest.FixtureRequest, images: dict[str, Image], thruster: Drive) -> Run:
    """Run one of the firmwares for `for_s` from main() on; `tables` are keys of the drive's tables."""

    def ran(
        text: str, for_s: float, tables: dict[str, dict[str, Any]] | None = None, **given: Any
    ) -> Recording:
        changed = {name: replace(getattr(thruster, name), **keys) for name, keys in (tables or {}).items()}
        rig = Rig(images[text], replace(thruster, **changed))
        from_s = None if request.param == "twin" else START_S - 1e-3
        return rig.run(scenario(START_S + for_s, **given), equations_from_s=from_s)

    return ran


def current_a(recording: Recording, t_s: float, phase: str = "u") -> float:
    """Current of a phase at the recorded state next to this moment."""
    k = int(np.argmin(np.abs(recording.state_t_s - t_s)))
    return float(recording.states[f"i_{phase}_a"][k])


def moment_s(recording: Recording, gates: tuple[int, int, int], last: bool = False) -> float:
    """First (last) moment at which the FETs of U, V, W are these."""
    at = np.flatnonzero((recording.gates.values == gates).all(axis=1))
    return float(recording.seconds(int(recording.gates.cycles[at[-1 if last else 0]])))


@pytest.mark.parametrize(
    ("tables", "given", "r_ohm"),
    [
        ({}, {}, 0.16),
        ({"motor": {"r_factors": (1.5, 1.0, 1.0)}}, {}, 0.2),
        ({"motor": {"r_factors": (1.0, 1.0, 1.5)}}, {}, 0.16),
        ({}, {"parts": {"winding_c": 120.0}}, 0.16 * 1.393),
        ({}, {"parts": {"r_phase": 1.2}}, 0.192),
    ],
)
def test_current_of_a_held_rotor_is_that_of_its_two_windings(
    run: Run, tables: Any, given: Any, r_ohm: float
) -> None:
    """Ohm's law after eight time constants of the slowest case: source, two FETs, windings U and V."""
    recording = run(COIL, 2.9e-3, tables, **HELD, **given)
    # The regulator draws 20 mA through the source's resistance.
    expected_a = (11.1 - 0.02 * 0.025) / (r_ohm + 2 * 5e-3 + 0.025)

    assert current_a(recording, START_S + 2.9e-3) == pytest.approx(expected_a, rel=1e-3)


@pytest.mark.parametrize(
    ("motor", "l_h"),
    [
        ({}, 56e-6),
        ({"l_factors": (1.2, 1.0, 1.0)}, 61.6e-6),
        ({"l_factors": (1.0, 1.0, 1.2)}, 56e-6),
        ({"mutual_h": (3e-6, 0.0, 0.0)}, 50e-6),
        ({"mutual_h": (0.0, 3e-6, 0.0)}, 56e-6),
    ],
)
def test_current_rises_by_the_inductance_of_its_two_windings(run: Run, motor: Any, l_h: float) -> None:
    """The energy i L i / 2 of currents i and -i has L_u + L_v - 2 m_uv in it. Over the time in which the
    source, behind 25 milliohm and a capacitor, has not moved: the rise is exponential in R / L."""
    recording = run(COIL, 0.3e-3, {"motor": motor, "supply": {"c_f": Range.exactly(0.5)}}, **HELD)
    from_s = moment_s(recording, (1, 2, 0))
    k = int(np.searchsorted(recording.state_t_s, from_s + 30e-6))
    elapsed_s = float(recording.state_t_s[k]) - from_s
    r_ohm = 2 * (0.08 + 5e-3)
    drops_ohm = r_ohm + 0.03 * 0.025 / 0.055  # source and capacitor side by side
    expected_a = 11.1 / drops_ohm * -math.expm1(-drops_ohm / l_h * elapsed_s)

    assert 20e-6 < elapsed_s < 90e-6
    assert float(recording.states["i_u_a"][k]) == pytest.approx(expected_a, rel=2e-3)


@pytest.mark.parametrize("slope_ohm", [None, 0.05, 0.2])
def test_current_of_a_diode_decays_against_drop_and_slope(run: Run, slope_ohm: float | None) -> None:
    """Two diodes in series with the bus: v = 2 (Vf + r i) + Vbus, i falls towards -(Vbus + 2 Vf) / R."""
    tables = {"bridge": {"diode_slope_ohm": None if slope_ohm is None else Range.exactly(slope_ohm)}}
    # A capacitor without ESR that holds the bus over these microseconds.
    supply = {"c_f": Range.exactly(0.5), "esr_ohm": Range.exactly(0.0)}
    recording = run(COIL, 3.2e-3, {**tables, "supply": supply}, **HELD)
    from_s = moment_s(recording, (0, 0, 0), last=True)
    k = int(np.flatnonzero(recording.state_t_s >= from_s - 1e-9)[0])
    start_a, bus_v = float(recording.states["i_u_a"][k]), float(recording.states["v_bus_v"][k])
    r_ohm = 2 * (0.08 + (5e-3 if slope_ohm is None else slope_ohm))
    against_a = (bus_v + 1.4) / r_ohm
    m = int(np.searchsorted(recording.state_t_s, from_s + 80e-6))
    decay = math.exp(-r_ohm / 56e-6 * (float(recording.state_t_s[m]) - float(recording.state_t_s[k])))
    expected_a = (start_a + against_a) * decay - against_a

    assert start_a > 40.0
    assert expected_a > 4.0
    assert float(recording.states["i_u_a"][m]) == pytest.approx(expected_a, rel=2e-3)


@pytest.mark.parametrize("esr_ohm", [0.0, 0.03, 0.1])
def test_bus_jumps_by_the_esr_when_the_windings_push_back(run: Run, esr_ohm: float) -> None:
    """The current of the bridge changes its sign at once; source and capacitor share the step of 2 I as
    their resistances stand side by side."""
    recording = run(COIL, 3.2e-3, {"supply": {"esr_ohm": Range.exactly(esr_ohm)}}, **HELD)
    off_s = moment_s(recording, (0, 0, 0), last=True)
    t_s, bus_v = recording.state_t_s, recording.states["v_bus_v"]
    before = int(np.flatnonzero(t_s < off_s - 1e-9)[-1])
    after = int(np.flatnonzero(t_s > off_s + 1e-9)[0])
    current = float(recording.states["i_u_a"][before])
    later_a = float(recording.states["i_u_a"][after])
    shared_ohm = esr_ohm * 0.025 / (esr_ohm + 0.025)
    # What a bare capacitor gains until then, by the charge that has come.
    gained_v = 0.5 * (current + later_a) * (float(t_s[after]) - off_s) / 470e-6
    jump_v = float(bus_v[after]) - float(bus_v[before])

    assert jump_v == pytest.approx((current + later_a) * shared_ohm, abs=gained_v + 0.02)
    if esr_ohm:
        assert jump_v > 0.5


@pytest.mark.parametrize(("static_nm", "moves"), [(None, True), (5e-3, False)])
def test_rotor_at_rest_breaks_away_at_the_static_torque(
    run: Run, static_nm: float | None, moves: bool
) -> None:
    """4 mNm from outside: more than the 3 mNm that brake, less than the 5 that hold."""
    load = {"static_nm": None if static_nm is None else Range.exactly(static_nm)}
    recording = run(OPEN, 3e-3, {"load": load}, load_nm=((0.0, 0.0), (START_S, 0.0), (START_S + 1e-6, 4e-3)))
    speed = float(recording.states["w_rad_s"][-1])

    # (4 - 3) mNm over 15e-6 kg m2 for 3 ms, backwards.
    assert speed == (pytest.approx(-0.2, rel=2e-3) if moves else 0.0)


@pytest.mark.parametrize("tau_s", [0.0, 20e-6, 60e-6])
def test_a_low_pass_delays_the_crossing(run: Run, tau_s: float) -> None:
    """A sine falls behind by atan(w tau) in a low-pass of first order (textbook)."""
    motor, sense = {"back_emf": "sine"}, {"tau_s": Range.exactly(tau_s)}
    recording = run(OPEN, 6e-3, {"motor": motor, "sense": sense}, speed_rpm=((0.0, 3000.0),))
    cycles, values, _ = recording.of(Signal.COMPARATOR)
    rising_s = recording.seconds(cycles[(values == 1) & (cycles > START_UP_CYCLES + 16_000)])
    w_rad_s = 7 * rad_s_from_rpm(3000.0)
    # delay of the comparator 0.5 us, of the synchroniser up to two cycles
    theta = recording.theta_at(rising_s - 0.5e-6 - 1.5 / 16e6)
    late_rad = (theta + math.pi) % (2.0 * math.pi) - math.pi

    assert len(rising_s) >= 1
    assert late_rad / w_rad_s * 1e6 == pytest.approx(math.atan(w_rad_s * tau_s) / w_rad_s * 1e6, abs=0.15)


@pytest.mark.parametrize(("clamp_v", "above"), [(None, 1), (3.0, 1), (1.0, 0)])
def test_a_clamp_hides_the_terminal_from_the_comparator(run: Run, clamp_v: float | None, above: int) -> None:
    """U at the bus, 2.6 V at its pin; the neutral at half of it. A clamp below both leaves the offset."""
    sense = {"pin_clamp_v": clamp_v}
    recording = run(COIL, 1e-3, {"sense": sense}, **HELD, parts={"offset_v": -0.01})
    cycles, values, _ = recording.of(Signal.COMPARATOR)
    at_end = int(values[-1]) if len(cycles) else 0

    assert at_end == above


def shorted_peak_a(recording: Recording) -> float:
    """Half of what lies between the highest and the lowest current of U in the last two turns."""
    i_a = recording.states["i_u_a"][recording.state_t_s > recording.seconds(recording.end_cycle) - 6e-3]
    return float(i_a.max() - i_a.min()) / 2.0


TURN_OF_A_SINE = tuple(math.sin(2.0 * math.pi * k / 96) for k in range(96))


@pytest.mark.parametrize(
    "motor",
    [
        {"back_emf": "sine"},
        {"back_emf": "sine", "third_harmonic": 0.2},
        {"back_emf": "table", "back_emf_table": TURN_OF_A_SINE},
    ],
    ids=["sine", "third harmonic", "table"],
)
def test_shorted_windings_of_a_sine_machine_carry_the_textbook_current(run: Run, motor: Any) -> None:
    """k w / sqrt(R^2 + (w_e L)^2); a third harmonic is alike in all phases and drives no current in a
    star; a table of 96 values is a sine to 5e-4."""
    w_rad_s = rad_s_from_rpm(3000.0)
    recording = run(SHORTED, 9e-3, {"motor": motor}, speed_rpm=((0.0, 3000.0),))
    k_v_s = 60.0 / (2.0 * math.pi * 1000.0) / 2.0
    expected_a = k_v_s * w_rad_s / math.hypot(0.085, 7 * w_rad_s * 28e-6)

    assert shorted_peak_a(recording) == pytest.approx(expected_a, rel=4e-3)


def test_a_stronger_phase_carries_more_of_a_short(run: Run) -> None:
    """EMFs k_u, 1, 1 at 120 degrees leave k_u (1 - 1/3) + 1/3 in phase U once the star point has moved."""
    w_rad_s = rad_s_from_rpm(3000.0)
    motor = {"back_emf": "sine", "k_factors": (1.3, 1.0, 1.0)}
    recording = run(SHORTED, 9e-3, {"motor": motor}, speed_rpm=((0.0, 3000.0),))
    k_v_s = 60.0 / (2.0 * math.pi * 1000.0) / 2.0
    expected_a = (1.3 * 2 / 3 + 1 / 3) * k_v_s * w_rad_s / math.hypot(0.085, 7 * w_rad_s * 28e-6)

    assert shorted_peak_a(recording) == pytest.approx(expected_a, rel=4e-3)


def test_moving_water_turns_the_propeller(run: Run) -> None:
    """From rest J dw/dt = kq (w_w - w)^2 - Tc: at w_w = 400 rad/s, 16 mNm less 3 over 15e-6 kg m2."""
    recording = run(OPEN, 4e-3, water_rpm=((0.0, 0.0), (START_S, 0.0), (START_S + 1e-6, 3819.7)))
    expected = (1e-7 * 400.0**2 - 3e-3) / 1.5e-5 * 4e-3

    assert float(recording.states["w_rad_s"][-1]) == pytest.approx(expected, rel=0.02)


@pytest.mark.parametrize(("phase", "carries"), [("U", False), ("V", False), ("W", True)])
def test_an_open_lead_carries_nothing(run: Run, phase: str, carries: bool) -> None:
    """The pair U, V is driven: without one of the two there is no circuit, and W is not missed."""
    faults = (Fault("lead open", 0.0, phase=phase),)
    whole = run(COIL, 1e-3, **HELD)
    recording = run(COIL, 1e-3, **HELD, faults=faults)
    most_a = float(np.abs(recording.states["i_u_a"]).max())

    assert most_a == (float(np.abs(whole.states["i_u_a"]).max()) if carries else 0.0)


def test_the_bow_thruster_runs_on_a_bridge_of_half_bridge_drivers(thruster: Drive) -> None:
    """Its firmware keeps its own dead time, so a driver that keeps another does no harm; the reference voyage
    breaks no claim, and low FETs carry what body diodes carried."""
    drive = replace(thruster, bridge=replace(thruster.bridge, chopping="complementary"))
    recording = Rig(build_image(drive, BOW_THRUSTER), drive).run(read_scenario(REFERENCE))
    low_fets = [int(np.count_nonzero(recording.of(gate)[1] == LOW_FET)) for gate in GATES]
    low_legs = [int(np.count_nonzero(recording.of(leg)[1] == Leg.LOW)) for leg in LEGS]

    assert [v.claim for v in judge(recording) if v.status == Status.BROKEN] == []
    assert all(fets > 5 * legs > 0 for fets, legs in zip(low_fets, low_legs, strict=True))


def test_shipped_drive_states_nothing_but_its_esr(thruster: Drive) -> None:
    """Of what may be left out, the bow thruster has the 30 milliohm of its capacitor."""
    params = plant_params(thruster, scenario())

    assert params.esr_ohm == 0.03
    assert params == replace(
        params,
        r_factors=(1.0, 1.0, 1.0),
        l_factors=(1.0, 1.0, 1.0),
        k_factors=(1.0, 1.0, 1.0),
        m_h=(0.0, 0.0, 0.0),
        shape="trapezoid",
        shape_table=(),
        third_harmonic=0.0,
        diode_slope_ohm=None,
        static_nm=None,
        sense_tau_s=0.0,
        pin_clamp_v=None,
        broken=(False, False, False),
    )
