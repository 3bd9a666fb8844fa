"""A published brushless motor, run as a drive: its data sheet's rows come out again.

Three windings of one 13 mm, 6 W motor (data sheet, scribd 30713692). Line-to-line values, halved for a
phase; friction from the no-load current, kt I0. One pole pair (none is published), ideal FETs.
"""

import math
from dataclasses import dataclass

import pytest

from dryspin.plant.equations import EquationPlant
from dryspin.plant.ideal import commutate, ideal_speed
from dryspin.plant.parameters import PlantInput, PlantParams

from .bench_motor import at, go, motor


@dataclass(frozen=True)
class Row:
    """One column of the sheet, in its units made SI."""

    name: str
    v_v: float
    n0_rpm: float
    i0_a: float
    stall_a: float
    stall_nm: float
    gradient_rad_s_nm: float
    r_ll_ohm: float
    l_ll_h: float
    kt_nm_a: float
    tau_m_s: float

    def params(self, **changes: object) -> PlantParams:
        """The winding in a motor with a rotor of 0.165 g cm2."""
        values: dict[str, object] = {
            "k_v_s": self.kt_nm_a / 2.0,
            "r_ohm": self.r_ll_ohm / 2.0,
            "l_h": self.l_ll_h / 2.0,
            "pole_pairs": 1,
            "r_on_ohm": 0.0,
            "j_kg_m2": 0.165e-7,
        }
        return motor(**(values | changes))


RPM_PER_MNM = 1000.0 * math.pi / 30.0

SHEET = [
    Row("A1", 6.0, 28300.0, 0.194, 4.30, 8.30e-3, 3580.0 * RPM_PER_MNM, 1.40, 20.6e-6, 1.93e-3, 6.18e-3),
    Row("A2", 9.0, 30100.0, 0.140, 3.62, 9.93e-3, 3160.0 * RPM_PER_MNM, 2.48, 41.6e-6, 2.74e-3, 5.46e-3),
    Row("A3", 12.0, 27000.0, 0.0905, 2.09, 8.47e-3, 3340.0 * RPM_PER_MNM, 5.74, 91.0e-6, 4.05e-3, 5.77e-3),
]


@pytest.fixture(params=SHEET, ids=lambda row: row.name)
def row(request: pytest.FixtureRequest) -> Row:
    """Each winding in turn."""
    value = request.param
    assert isinstance(value, Row)
    return value


def test_stall_current_is_the_published_one(row: Row) -> None:
    """Locked rotor, two phases on the supply: V / R_ll, to 0.5 % (the sheet's rounding)."""
    plant = EquationPlant(row.params(), at(bus_v=row.v_v))

    go(plant, 1e-3, (1, 2, 0))

    assert plant.state.i_u_a == pytest.approx(row.stall_a, rel=5e-3)


def test_no_load_speed_is_the_published_one(row: Row) -> None:
    """Six-step at the ideal angle against friction kt I0, to 0.5 %."""
    params = row.params(fixed_speed=False, coulomb_nm=row.kt_nm_a * row.i0_a)

    w = ideal_speed(params, PlantInput(row.v_v))

    assert w * 30.0 / math.pi == pytest.approx(row.n0_rpm, rel=5e-3)


def test_stall_torque_is_the_published_one(row: Row) -> None:
    """Locked rotor at 60 degrees, both phases on their flats: kt V / R_ll, to 0.5 % (rounding)."""
    plant = EquationPlant(row.params(), at(degrees=60.0, bus_v=row.v_v))

    go(plant, 1e-3, (1, 2, 0))

    assert plant.torque_nm(plant.vector) == pytest.approx(row.stall_nm, rel=5e-3)


@pytest.mark.parametrize(
    ("inductance_share", "tolerance"), [pytest.param(0.1, 5e-3, marks=pytest.mark.slow), (1.0, 0.025)]
)
def test_speed_torque_gradient_is_the_published_one(
    row: Row, inductance_share: float, tolerance: float
) -> None:
    """Speed lost to a fifth of the stall torque, R_ll / kt^2, to 0.5 % with a tenth of the inductance.

    The published figure is that of the brushed equivalent. With the winding's own inductance the
    overlap of the phases at commutation acts like more series resistance: 1.5 to 1.8 % steeper here.
    """
    params = row.params(
        fixed_speed=False, coulomb_nm=row.kt_nm_a * row.i0_a, l_h=inductance_share * row.l_ll_h / 2.0
    )
    load_nm = 0.2 * row.stall_nm

    lost = ideal_speed(params, PlantInput(row.v_v)) - ideal_speed(params, PlantInput(row.v_v, 1.0, load_nm))

    assert lost / load_nm == pytest.approx(row.gradient_rad_s_nm, rel=tolerance)


@pytest.mark.parametrize(("inductance_share", "tolerance"), [(1.0 / 30.0, 5e-3), (1.0, 0.02)])
def test_mechanical_time_constant_is_the_published_one(
    row: Row, inductance_share: float, tolerance: float
) -> None:
    """From rest, without friction: 63.2 % of V / kt after tau_m, to 0.5 % with a thirtieth of the inductance.

    The published figure is that of the brushed equivalent; six-step has the overlap of the phases on
    top, which makes it about 1 % slower with the winding's own inductance.
    """
    w_reached = (1.0 - math.exp(-1.0)) * row.v_v / row.kt_nm_a
    # six-step needs a direction to begin with: 1 rad/s of some 3000
    before = at(1.0, 31.0, bus_v=row.v_v)
    params = row.params(fixed_speed=False, l_h=inductance_share * row.l_ll_h / 2.0)
    plant = EquationPlant(params, before)

    for after in commutate(plant):
        if after.w_rad_s >= w_reached:
            break
        before = after

    share = (w_reached - before.w_rad_s) / (after.w_rad_s - before.w_rad_s)
    assert before.t_s + share * (after.t_s - before.t_s) == pytest.approx(row.tau_m_s, rel=tolerance)
