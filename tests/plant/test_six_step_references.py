"""Six-step commutation on the equation plant against published sequences, voltages and times.

Sources, quoted where used: a vendor data sheet's run-mode table (onlinedocs.microchip.com,
GUID-75463A18, section 13.21.1.6); a hobby electronics article ("BL AH, AH CL, CL BH, BH AL, AL CH,
CH BL"); a vendor application note on sensorless drives (GUID-78E22D6C, section 8.2); ST AN2030, page 3.
"""

import math

import pytest

from dryspin.plant.emf import sine, trapezoid
from dryspin.plant.equations import EquationPlant
from dryspin.plant.ideal import commutate, open_leg, six_step_gates

from .bench_motor import BUS_V, MOTOR, at, go, motor, rpm


def drive_and_edges(degrees: float, direction: int) -> list[tuple[float, int, int]]:
    """Last comparator edge of six sectors from a border on, driven at 6000 rpm: (degrees, leg, level)."""
    w = direction * rpm(6000.0)
    rad_s = MOTOR.pole_pairs * w
    plant = EquationPlant(MOTOR, at(w, degrees))
    sector = math.floor((degrees + direction - 30.0) / 60.0)
    edges = []
    for n in range(1, 7):
        plant.sense_leg = open_leg(sector)
        seen = go(plant, n * math.pi / 3.0 / abs(rad_s), six_step_gates(sector, direction))
        t_s, level = seen[-1]
        edges.append((degrees + math.degrees(rad_s * t_s), open_leg(sector), level))
        sector += direction
    return edges


def test_sequence_is_the_published_one() -> None:
    """Z-01: energised pairs A+B-, A+C-, B+C-, B+A-, C+A-, C+B- (a hobby electronics article; ABC = UVW)."""
    published = ["A+B-", "A+C-", "B+C-", "B+A-", "C+A-", "C+B-"]

    def pair(gates: tuple[int, int, int]) -> str:
        return f"{'ABC'[gates.index(1)]}+{'ABC'[gates.index(2)]}-"

    assert [pair(six_step_gates(sector)) for sector in range(6)] == published


def test_open_leg_of_each_pair_is_the_published_one() -> None:
    """Z-02: (high, low) -> open: (A,C) B; (B,C) A; (B,A) C; (C,A) B; (C,B) A; (A,B) C (vendor table)."""
    published = {"AC": "B", "BC": "A", "BA": "C", "CA": "B", "CB": "A", "AB": "C"}

    for direction in (1, -1):
        for sector in range(6):
            gates = six_step_gates(sector, direction)
            pair = "ABC"[gates.index(1)] + "ABC"[gates.index(2)]
            assert published[pair] == "ABC"[open_leg(sector)]
            assert gates[open_leg(sector)] == 0


def test_forward_torque_is_positive_in_every_sector() -> None:
    """Published pairs and EMF shape belong together: k sum f i > 0 for the current each pair drives."""
    for sector in range(6):
        shape = trapezoid(math.radians(60.0 + 60.0 * sector))
        gates = six_step_gates(sector)
        assert shape[gates.index(1)] == 1.0
        assert shape[gates.index(2)] == -1.0
        assert shape[open_leg(sector)] == pytest.approx(0.0, abs=1e-12)


def test_crossings_lie_in_mid_step_and_alternate() -> None:
    """Crossing 30 degrees before commutation, falling W, rising V, falling U, ... (GUID-78E22D6C; Z-04a)."""
    edges = drive_and_edges(30.0, 1)

    assert [leg for _, leg, _ in edges] == [2, 1, 0, 2, 1, 0]
    assert [level for _, _, level in edges] == [0, 1, 0, 1, 0, 1]
    assert [angle for angle, _, _ in edges] == pytest.approx([60, 120, 180, 240, 300, 360], abs=1e-4)


def test_backwards_order_and_polarity_of_crossings_are_reversed() -> None:
    """Sectors passed the other way: the same leg is open, its EMF crosses the other way round."""
    edges = drive_and_edges(390.0, -1)

    assert [leg for _, leg, _ in edges] == [0, 1, 2, 0, 1, 2]
    assert [level for _, _, level in edges] == [1, 0, 1, 0, 1, 0]
    assert [angle for angle, _, _ in edges] == pytest.approx([360, 300, 240, 180, 120, 60], abs=1e-4)


@pytest.mark.parametrize("degrees", [48.0, 55.0, 65.0, 72.0])
def test_open_terminal_shows_half_the_bus_plus_emf(degrees: float) -> None:
    """V/2 + e on the trapezoid, V/2 + 3/2 e on a sine (ST AN2030, p. 3, for the latter; KVL for both).

    The published factor 3/2 needs EMFs that add up to zero, which those of a trapezoid do not.
    """
    w = rpm(6000.0)
    for shape, factor, differential in ((trapezoid, 1.0, 2.0 / 3.0), (sine, 1.5, 1.0)):
        plant = EquationPlant(MOTOR, at(w, degrees), shape)
        go(plant, 1e-9, (1, 2, 0))
        e_w = MOTOR.k_v_s * w * shape(plant.state.theta_rad)[2]
        v_u, v_v, v_w = plant.terminal_voltages()
        assert v_w == pytest.approx(BUS_V / 2.0 + factor * e_w, abs=1e-6)
        # Z-04f: the comparator sees 2/3 e or e, in the on-time as in the off-time
        assert v_w - (v_u + v_v + v_w) / 3.0 == pytest.approx(differential * e_w, abs=1e-6)


@pytest.mark.parametrize("degrees", [42.0, 48.0, 55.0])
def test_open_terminal_in_the_off_time_shows_emf_alone(degrees: float) -> None:
    """V/2 goes when the high FET opens: e - Vf/2 on the trapezoid; the comparator sees 2/3 e as before."""
    w = rpm(3000.0)
    plant = EquationPlant(MOTOR, at(w, degrees, i=(5.0, -5.0, 0.0)))
    go(plant, 1e-9, (0, 2, 0))

    e_w = MOTOR.k_v_s * w * trapezoid(plant.state.theta_rad)[2]
    v_u, v_v, v_w = plant.terminal_voltages()
    assert v_w == pytest.approx(e_w - MOTOR.v_f_v / 2.0, abs=1e-6)
    assert v_w - (v_u + v_v + v_w) / 3.0 == pytest.approx(2.0 / 3.0 * e_w, abs=1e-6)


def test_open_terminal_below_ground_is_clamped_by_its_diode() -> None:
    """Z-04e: in the off-time the negative half of the open phase ends at -Vf (vasilisks.wordpress.com)."""
    plant = EquationPlant(MOTOR, at(rpm(6000.0), 75.0, i=(5.0, -5.0, 0.0)))

    go(plant, 1e-6, (0, 2, 0))

    assert plant.terminal_voltages()[2] == pytest.approx(-MOTOR.v_f_v, abs=1e-3)
    assert plant.state.i_w_a > 0.0


@pytest.mark.parametrize(
    ("offset_v", "speed_rpm", "degrees"),
    [(0.010, 500, 8.5), (0.010, 1000, 4.2), (0.010, 3000, 1.4), (0.040, 1000, 16.9), (0.040, 3000, 5.6)],
)
def test_comparator_offset_shifts_the_crossing(offset_v: float, speed_rpm: int, degrees: float) -> None:
    """Z-08, divider 1/4.7, 1000 rpm/V: Vos / (ratio 2/3 2E / 60 deg), offsets as in the data sheet."""
    w = rpm(speed_rpm)
    plant = EquationPlant(motor(divider=1.0 / 4.7, offset_v=offset_v), at(w, 31.0))
    plant.sense_leg = 2

    edges = go(plant, math.radians(58.0) / (MOTOR.pole_pairs * w), (0, 0, 0))

    ((t_s, level),) = edges
    assert level == 0
    late = math.degrees(MOTOR.pole_pairs * w * t_s) + 31.0 - 60.0
    emf_v = MOTOR.k_v_s * w
    assert late == pytest.approx(offset_v * 4.7 / (2.0 / 3.0 * 2.0 * emf_v / 60.0), rel=1e-6)
    assert late == pytest.approx(degrees, rel=0.02)


@pytest.mark.parametrize("shape", ["trapezoid", "sine"])
def test_terminals_stay_between_the_diodes_and_currents_add_up_to_zero(shape: str) -> None:
    """Z-07: -Vf <= v_x <= V + Vf, sum i = 0 (Kirchhoff), chopped at 31 kHz; diodes without slope."""
    plant = EquationPlant(
        motor(shape=shape, r_on_ohm=0.0, diode_slope_ohm=0.0, fixed_speed=False), at(rpm(6000.0), 31.0)
    )
    lowest, highest = 0.0, 0.0

    def look(h_s: float, start: tuple[float, ...], end: tuple[float, ...]) -> None:
        nonlocal lowest, highest
        volts = plant.equations.terminals(*end)
        lowest, highest = min(lowest, *volts), max(highest, *volts)
        assert abs(sum(end[:3])) < 1e-9

    plant.on_step = look
    for state in commutate(plant, duty=0.6):
        if state.t_s > 4e-3:
            break

    assert lowest == pytest.approx(-MOTOR.v_f_v, abs=1e-6)
    assert BUS_V - 1e-6 <= highest <= BUS_V + MOTOR.v_f_v + 1e-6


def test_current_of_an_opened_phase_ends_and_stays_away() -> None:
    """Z-07: the demagnetisation ends at zero current, which lasts as the EMF stays within the bus."""
    plant = EquationPlant(MOTOR, at(rpm(6000.0), 151.0, i=(20.0, 0.0, -20.0)))

    go(plant, 150e-6, (0, 1, 2))
    ended = plant.state.i_u_a
    go(plant, 190e-6, (0, 1, 2))

    assert ended == 0.0
    assert plant.state.i_u_a == 0.0
    assert plant.state.i_v_a > 1.0
