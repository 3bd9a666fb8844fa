"""The machine, its bridge and its bus as textbook equations.

For phase x of U, V, W, star winding, star point not connected, currents positive into the motor:

    v_x = R i_x + L di_x/dt + e_x + v_n        sum of i_x = 0
    e_x = k w f_x(theta)                       T = k sum f_x i_x          dtheta/dt = p w
    J dw/dt = T - B w - Tc sign(w) - kq w|w| - Tl
    C dV/dt = (V0 - V)/Rb - i_dc - i_aux       i_dc = sum of i_x over the legs at the high rail

A leg at a rail puts v_x = rail + drop - Ron i_x on its terminal (see conduction.py); an open one
carries no current and shows v_x = v_n + e_x. The sum of the first line over the conducting legs
gives v_n, as their currents and the slopes of these add up to zero.

Which elements conduct, whether the rotor moves, whether the supply feeds: that is held fixed in one
`Equations`; whoever integrates them decides when to go over to the next.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from dryspin.plant.conduction import Legs
from dryspin.plant.emf import Shape
from dryspin.plant.parameters import AUX_FROM_V, PlantInput, PlantParams

# (i_u, i_v, i_w, v_bus, w, theta) and its time derivative.
Vector = tuple[float, float, float, float, float, float]
Rates = Callable[[float, float, float, float, float, float], Vector]
Terminals = Callable[[float, float, float, float, float, float], tuple[float, float, float]]


class Equations(NamedTuple):
    """The ODE right-hand side and the terminal voltages (V) while nothing discrete changes."""

    rates: Rates
    terminals: Terminals


class Machine:
    """One set of parameters; hands out the equations that hold in a given discrete situation."""

    def __init__(self, params: PlantParams, shape: Shape) -> None:
        self.params = params
        self.shape = shape
        # Read by the equations at each evaluation, so that an input that changes at every call of
        # the plant does not make new functions: V0 (V), kq x load factor (Nm s2), load torque (Nm),
        # 1 while the source is plugged in.
        self._imposed = [0.0, 0.0, 0.0, 1.0]
        self._known: dict[tuple[Legs, float, float], Equations] = {}

    def impose(self, imposed: PlantInput) -> None:
        """Take over the input from outside, for all equations already handed out too."""
        self._imposed[:] = [
            imposed.v_supply_v,
            self.params.kq_nm_s2 * imposed.load_factor,
            imposed.load_nm,
            1.0 if imposed.connected else 0.0,
        ]

    def torque_nm(self, y: Vector) -> float:
        """Air-gap torque T = k sum f_x i_x (Nm)."""
        f_u, f_v, f_w = self.shape(y[5])
        return self.params.k_v_s * (f_u * y[0] + f_v * y[1] + f_w * y[2])

    def equations(self, legs: Legs, moving: float, feeding: float) -> Equations:
        """Equations for these conducting elements.

        moving: +1, -1 = sign of the speed, for friction; 0 = the speed is held (at rest by friction,
        or driven from outside). feeding: 1 = the supply is connected, 0 = it would have to sink.
        """
        key = (legs, moving, feeding)
        known = self._known.get(key)
        if known is None:
            known = Equations(self._rates(legs, moving, feeding), self._terminals(legs))
            self._known[key] = known
        return known

    def _rates(self, legs: Legs, moving: float, feeding: float) -> Rates:
        p, shape, imposed = self.params, self.shape, self._imposed
        k, l_h, pole_pairs, j, b = p.k_v_s, p.l_h, float(p.pole_pairs), p.j_kg_m2, p.b_nm_s
        r = p.r_ohm + p.r_on_ohm
        friction = moving * p.coulomb_nm
        # c: conducts, a: at the high rail, d: drop of a diode
        (c_u, a_u, d_u), (c_v, a_v, d_v), (c_w, a_w, d_w) = (
            (leg.conducts, leg.rail, leg.drop_sign * p.v_f_v) for leg in legs
        )
        conducting = c_u + c_v + c_w
        share = 1.0 / conducting if conducting else 0.0
        # C and Rb of a stiff bus play no part: its voltage has no derivative
        c_bus, r_supply = (1.0, 1.0) if p.stiff else (p.c_bus_f, p.r_supply_ohm)
        bus_moves = not p.stiff

        def rates(i_u: float, i_v: float, i_w: float, v: float, w: float, theta: float) -> Vector:
            v_0, kq, load, connected = imposed
            f_u, f_v, f_w = shape(theta)
            kw = k * w
            # what is left for L di/dt + v_n in each phase
            u_u = a_u * v + d_u - r * i_u - kw * f_u
            u_v = a_v * v + d_v - r * i_v - kw * f_v
            u_w = a_w * v + d_w - r * i_w - kw * f_w
            v_n = share * (c_u * u_u + c_v * u_v + c_w * u_w)
            dv = 0.0
            if bus_moves:
                i_dc = a_u * i_u + a_v * i_v + a_w * i_w + (p.i_aux_a if v > AUX_FROM_V else 0.0)
                dv = (feeding * connected * (v_0 - v) / r_supply - i_dc) / c_bus
            dw = 0.0
            if moving:
                torque = k * (f_u * i_u + f_v * i_v + f_w * i_w)
                dw = (torque - b * w - friction - kq * w * abs(w) - load) / j
            return (
                c_u * (u_u - v_n) / l_h,
                c_v * (u_v - v_n) / l_h,
                c_w * (u_w - v_n) / l_h,
                dv,
                dw,
                pole_pairs * w,
            )

        return rates

    def _terminals(self, legs: Legs) -> Terminals:
        p, shape = self.params, self.shape
        k, r, r_on, v_f = p.k_v_s, p.r_ohm, p.r_on_ohm, p.v_f_v
        (c_u, a_u, d_u), (c_v, a_v, d_v), (c_w, a_w, d_w) = (
            (leg.conducts, leg.rail, leg.drop_sign * v_f) for leg in legs
        )
        conducting = c_u + c_v + c_w

        def terminals(
            i_u: float, i_v: float, i_w: float, v: float, w: float, theta: float
        ) -> tuple[float, float, float]:
            f_u, f_v, f_w = shape(theta)
            e_u, e_v, e_w = k * w * f_u, k * w * f_v, k * w * f_w
            v_u = a_u * v + d_u - r_on * i_u
            v_v = a_v * v + d_v - r_on * i_v
            v_w = a_w * v + d_w - r_on * i_w
            if conducting:
                v_n = (
                    c_u * (v_u - r * i_u - e_u) + c_v * (v_v - r * i_v - e_v) + c_w * (v_w - r * i_w - e_w)
                ) / conducting
            else:
                # nothing conducts: the sense dividers, all alike, bring the mean of the terminals to
                # ground, unless a diode holds the highest or the lowest of them at its clamp
                v_n = -(e_u + e_v + e_w) / 3.0
                v_n = min(v_n, v + v_f - max(e_u, e_v, e_w))
                v_n = max(v_n, -v_f - min(e_u, e_v, e_w))
            return (
                v_u if c_u else v_n + e_u,
                v_v if c_v else v_n + e_v,
                v_w if c_w else v_n + e_w,
            )

        return terminals
