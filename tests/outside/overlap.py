"""The moment two phases hand the current over: times and torque against closed forms.

Upper switch moves from U to V, W low stays on (or the mirror case); no resistance, no diode drop; EMFs
on their flats. At 150 degrees U and V are both flat; a very slow rotor with a large EMF constant keeps
them so. L = 0.28 mH per phase, I = 2 A, V = 12 V; the values were computed and simulated apart from
this project. That V = 4E divides dips from rises: R. Carlson, M. Lajoie-Mazenc, J. C. S. Fagundes, IEEE
Trans. Ind. Appl. 28(3), 632-638, 1992 (from memory, text not at hand).
"""

from __future__ import annotations

from collections.abc import Iterator

from ..plant.bench_motor import at, motor
from .bench import currents, go, torque_nm
from .check import Maker, Plant, Row, apart, check, share

L_H, I_A, V_V = 0.28e-3, 2.0, 12.0
KVL = "closed form from KVL, worked values simulated apart from this project"
CARLSON = "Carlson, Lajoie-Mazenc, Fagundes, IEEE Trans. Ind. Appl. 28(3) 1992 (from memory)"

UPPER = ("upper switch moves", 150.0, (I_A, 0.0, -I_A), (0, 1, 2))
LOWER = ("lower switch moves", 330.0, (-I_A, 0.0, I_A), (0, 2, 1))
"""(name, angle, currents, gates after the move): U hands over to V, W stays."""


Move = tuple[str, float, tuple[float, float, float], tuple[int, int, int]]


def overlapping(make: Maker, emf_v: float, move: Move, times: float = 1.0) -> Plant:
    """Plant just after the switch has moved, `times` 2 A still in U and W."""
    _, degrees, (i_u, i_v, i_w), _ = move
    i = i_u * times, i_v * times, i_w * times
    w = 1e-3
    params = motor(k_v_s=emf_v / w, r_ohm=0.0, r_on_ohm=0.0, v_f_v=0.0, l_h=L_H, pole_pairs=1)
    return make(params, at(w, degrees, i, V_V))


def on_the_flats(plant: Plant) -> float:
    """Torque as a current (A): all three phases are on their flats, with the signs of the currents."""
    return sum(abs(i) for i in currents(plant))


@check(KVL)
def fall_and_rise_at_commutation(make: Maker) -> Iterator[Row]:
    """tf = 3 L I/(V + 2E), tr = 3 L I/(2 (V - E)); without resistance the currents are straight lines."""
    for emf_v, fall_us, rise_us in (
        *((0.0, 140.0, 70.0), (1.5, 112.0, 80.0), (3.0, 93.33, 93.33)),
        *((4.5, 80.0, 112.0), (6.0, 70.0, 140.0)),
    ):
        for mirror in (UPPER, LOWER):
            plant = overlapping(make, emf_v, mirror)
            go(plant, 10e-6, mirror[3])
            i_u, i_v, i_w = (abs(i) for i in currents(plant))
            case = f"E {emf_v} V, {mirror[0]}"
            yield share("fall time (demagnetisation)", fall_us, 10.0 * I_A / (I_A - i_u), 0.1, case)
            yield share("rise time", rise_us, 10.0 * I_A / i_v, 0.1, case)
            # the phase in common: -(V - 4E)/3L
            slope = (V_V - 4.0 * emf_v) / (3.0 * L_H)
            yield apart("change of the common phase in 10 us", slope * 10e-6, i_w - I_A, 1e-6, "A", case)
            # and it does end there: 0.1 us before and after
            go(plant, (fall_us - 0.1) * 1e-6, mirror[3])
            yield apart("conducts before the fall time", 1.0, float(currents(plant)[0] != 0.0), 0.0, "", case)
            go(plant, (fall_us + 0.1) * 1e-6, mirror[3])
            yield apart("current after the fall time", 0.0, currents(plant)[0], 0.0, "A", case)


@check(KVL)
def star_point_during_overlap(make: Maker) -> Iterator[Row]:
    """(V - E)/3: the terminal of V less its EMF and its inductive drop, from the slope of its current."""
    for emf_v in (0.0, 1.5, 3.0, 6.0):
        plant = overlapping(make, emf_v, UPPER)
        go(plant, 10e-6, UPPER[3])
        star_v = V_V - emf_v - L_H * plant.state.i_v_a / 10e-6
        yield apart("star point during overlap", (V_V - emf_v) / 3.0, star_v, 1e-6, "V", f"E {emf_v} V")


@check(CARLSON)
def no_ripple_at_four_times_the_emf(make: Maker) -> Iterator[Row]:
    """V = 4E: neither dip nor rise, all along."""
    plant = overlapping(make, 3.0, UPPER)
    full_nm = torque_nm(plant)
    for t_us in range(5, 95, 5):
        go(plant, t_us * 1e-6, UPPER[3])
        yield share("torque at V = 4E", full_nm, torque_nm(plant), 0.01, f"{t_us} us")


@check(KVL)
def torque_at_the_end_of_the_fall(make: Maker) -> Iterator[Row]:
    """(V - 4E)/(V + 2E): rises at low speed, dips at high speed, by half at E = V/2."""
    for emf_v, change in ((0.0, 1.0), (1.5, 0.4), (3.0, 0.0), (4.5, -0.2857), (6.0, -0.5)):
        for mirror in (UPPER, LOWER):
            plant = overlapping(make, emf_v, mirror)
            go(plant, 3.0 * L_H * I_A / (V_V + 2.0 * emf_v), mirror[3])
            seen = on_the_flats(plant) / (2.0 * I_A) - 1.0
            case = f"E {emf_v} V, {mirror[0]}"
            yield apart("change of torque at the end of the fall", change, seen, 1e-3, "of 1", case)


@check(KVL)
def torque_at_the_end_of_the_rise(make: Maker) -> Iterator[Row]:
    """(V - 4E)/(2 (V - E)) when the incoming phase reaches I first, as under a current limit."""
    for emf_v in (0.0, 1.0, 2.0):
        plant = overlapping(make, emf_v, UPPER)
        go(plant, 3.0 * L_H * I_A / (2.0 * (V_V - emf_v)), UPPER[3])
        seen = on_the_flats(plant) / (2.0 * I_A) - 1.0
        expected = (V_V - 4.0 * emf_v) / (2.0 * (V_V - emf_v))
        yield apart("change of torque at the end of the rise", expected, seen, 5e-3, "of 1", f"E {emf_v} V")


@check(KVL + "; motor: data sheet of a 43 mm, 30 W flat motor (scribd 629363718)")
def nearly_masked_crossing(make: Maker) -> Iterator[Row]:
    """6 A at 12 V, 1797 rpm, E = 2.4 V: tf = 300 us of a step of 695 us: 25.9 of the 30 degrees."""
    plant = overlapping(make, 2.4, UPPER, times=3.0)
    go(plant, 10e-6, UPPER[3])
    fall_us = 10.0 * 6.0 / (6.0 - plant.state.i_u_a)
    step_us = 10.0 / (8 * 1797.0) * 1e6
    yield share("time of a step", 695.0, step_us, 0.1)
    yield share("fall time (demagnetisation)", 300.0, fall_us, 1.0)
    yield share("masked part of a step", 25.9, 60.0 * fall_us / step_us, 1.0)
