"""The moment two phases hand the current over: times and torque against closed forms.

Upper switch moves from U to V, W low stays on; no resistance, no diode drop; EMFs on their flats:
e_u = e_v = E, e_w = -E. At 150 degrees U and V are both flat; a very slow rotor with a large EMF
constant keeps them so. L = 0.28 mH per phase, I = 2 A, V = 12 V. The formulas follow from Kirchhoff's
laws; that V = 4E divides dips from rises is the known result of R. Carlson, M. Lajoie-Mazenc and
J. C. S. Fagundes, IEEE Trans. Ind. Appl. 28(3), 632-638, 1992 (from memory, text not at hand).
"""

import pytest

from dryspin.plant.emf import trapezoid
from dryspin.plant.equations import EquationPlant

from .bench_motor import at, go, motor

L_H, I_A, V_V = 0.28e-3, 2.0, 12.0


def overlapping(emf_v: float) -> EquationPlant:
    """Plant just after the upper switch has moved, 2 A still in U and W."""
    w = 1e-3
    params = motor(k_v_s=emf_v / w, r_ohm=0.0, r_on_ohm=0.0, v_f_v=0.0, l_h=L_H, pole_pairs=1)
    return EquationPlant(params, at(w, 150.0, i=(I_A, 0.0, -I_A), bus_v=V_V))


def torque_share(plant: EquationPlant) -> float:
    """Torque against that of 2 A in two phases on their flats."""
    state = plant.state
    f_u, f_v, f_w = trapezoid(state.theta_rad)
    return (f_u * state.i_u_a + f_v * state.i_v_a + f_w * state.i_w_a) / (2.0 * I_A)


@pytest.mark.parametrize(
    ("emf_v", "fall_us", "torque_change"),
    [(0.0, 140.0, 1.0), (1.5, 112.0, 0.4), (3.0, 93.33, 0.0), (4.5, 80.0, -0.2857), (6.0, 70.0, -0.5)],
)
def test_outgoing_phase_empties_in_3li_over_v_plus_2e(
    emf_v: float, fall_us: float, torque_change: float
) -> None:
    """tf = 3 L I / (V + 2E) (T-02); by then the torque has changed by (V - 4E)/(V + 2E) (T-06)."""
    plant = overlapping(emf_v)
    emptied_s = []
    plant.on_conduction = lambda t_s, legs: emptied_s.append(t_s) if legs[0].name == "open" else None

    for _ in range(100):
        go(plant, plant.state.t_s + 2e-6, (0, 1, 2))
        if emptied_s:
            break
    plant = overlapping(emf_v)
    go(plant, emptied_s[0], (0, 1, 2))

    assert emptied_s[0] * 1e6 == pytest.approx(fall_us, rel=1e-3)
    assert emptied_s[0] == pytest.approx(3.0 * L_H * I_A / (V_V + 2.0 * emf_v), rel=1e-6)
    assert torque_share(plant) - 1.0 == pytest.approx(torque_change, abs=1e-3)


@pytest.mark.parametrize(
    ("emf_v", "rise_us"), [(0.0, 70.0), (1.5, 80.0), (3.0, 93.33), (4.5, 112.0), (6.0, 140.0)]
)
def test_incoming_phase_rises_by_2_v_minus_e_over_3l(emf_v: float, rise_us: float) -> None:
    """T-03: tr = 3 L I / (2 (V - E)), the slope while the outgoing phase still conducts."""
    plant = overlapping(emf_v)

    go(plant, 10e-6, (0, 1, 2))

    slope_a_s = plant.state.i_v_a / 10e-6
    assert I_A / slope_a_s * 1e6 == pytest.approx(rise_us, rel=1e-3)
    # T-01: the star point, which is the terminal of a phase on its flat less its EMF and inductive drop
    v_n = V_V - emf_v - L_H * slope_a_s
    assert v_n == pytest.approx((V_V - emf_v) / 3.0, abs=1e-6)
    assert slope_a_s == pytest.approx(2.0 * (V_V - emf_v) / (3.0 * L_H), rel=1e-6)
    # T-04: the phase in common changes by -(V - 4E)/3L
    assert plant.state.i_w_a + I_A == pytest.approx(-(V_V - 4.0 * emf_v) / (3.0 * L_H) * 10e-6, abs=1e-6)


def test_commutation_leaves_the_torque_alone_where_the_bus_is_four_times_the_emf() -> None:
    """T-05, Carlson et al. 1992 (from memory): neither dip nor rise at V = 4E, to 0.01 %, all along."""
    plant = overlapping(3.0)

    for t_us in range(5, 95, 5):
        go(plant, t_us * 1e-6, (0, 1, 2))
        assert torque_share(plant) == pytest.approx(1.0, abs=1e-4)
