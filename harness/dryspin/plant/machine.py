"""The machine, its bridge and its bus as textbook equations.

For phase x of U, V, W, star winding, star point not connected, currents positive into the motor:

    v_x = R_x i_x + sum over y of L_xy di_y/dt + e_x + v_n      sum of i_x = 0
    e_x = k_x w f_x(theta)                T = sum k_x f_x i_x          dtheta/dt = p w
    J dw/dt = T - B w - Tc sign(w) - kq (w - w_water)|w - w_water| - Tl
    C dv_c/dt = i_b - i_dc - i_aux        i_b = (V0 - V)/Rb
    V = v_c + ESR (i_b - i_dc - i_aux)    i_dc = sum of i_x over the legs at the high rail

A leg at a rail puts v_x = rail + drop - r i_x on its terminal (see conduction.py); an open one carries
no current and shows v_x = v_n + e_x + what its neighbours induce in it. How the inductances and the
star point share the voltages out is in star.py.

Which elements conduct, whether the rotor moves, whether the supply feeds: that is held fixed in one
`Equations`; whoever integrates them decides when to go over to the next.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from dryspin.plant.conduction import CUT_AT_BUS, CUT_AT_GROUND, Element, Legs
from dryspin.plant.emf import Shape
from dryspin.plant.parameters import AUX_FROM_V, PlantInput, PlantParams
from dryspin.plant.star import StarSolution, Triple, solve

# (i_u, i_v, i_w, v_c, w, theta), then the filtered voltages of U, V, W if the sense lines have a filter;
# and the time derivative of that.
Vector = tuple[float, ...]
Rates = Callable[..., Vector]


class Equations(NamedTuple):
    """What holds while nothing discrete changes; each takes the elements of a `Vector`.

    rates: right-hand side of the ODE. terminals: voltages (V) of U, V, W against ground. bus: voltage
    (V) the bridge sees.
    """

    rates: Rates
    terminals: Callable[..., Triple]
    bus: Callable[..., float]


class Machine:
    """One set of parameters; hands out the equations that hold in a given discrete situation."""

    def __init__(self, params: PlantParams, shape: Shape) -> None:
        self.params = params
        self.shape = shape
        # Read by the equations at each evaluation, so that an input that changes at every call of
        # the plant does not make new functions: V0 (V), kq x load factor (Nm s2), load torque (Nm),
        # 1 while the source is plugged in, speed of the water (rad/s).
        self._imposed = [0.0, 0.0, 0.0, 1.0, 0.0]
        self._known: dict[tuple[Legs, float, float], Equations] = {}

    def impose(self, imposed: PlantInput) -> None:
        """Take over the input from outside, for all equations already handed out too."""
        self._imposed[:] = [
            imposed.v_supply_v,
            self.params.kq_nm_s2 * imposed.load_factor,
            imposed.load_nm,
            1.0 if imposed.connected else 0.0,
            imposed.water_rad_s,
        ]

    def torque_nm(self, y: Vector) -> float:
        """Air-gap torque T = sum k_x f_x i_x (Nm)."""
        k_u, k_v, k_w = self.params.k_phases_v_s
        f_u, f_v, f_w = self.shape(y[5])
        return k_u * f_u * y[0] + k_v * f_v * y[1] + k_w * f_w * y[2]

    def torque_at_rest_nm(self, y: Vector) -> float:
        """What turns a rotor that does not move (Nm): the machine, the load torque, passing water."""
        _, kq, load, _, water = self._imposed
        return self.torque_nm(y) - load + kq * water * abs(water)

    def equations(self, legs: Legs, moving: float, feeding: float) -> Equations:
        """Equations for these conducting elements.

        moving: +1, -1 = sign of the speed, for friction; 0 = the speed is held (at rest by friction,
        or driven from outside). feeding: 1 = the supply is connected, 0 = it would have to sink.
        """
        key = (legs, moving, feeding)
        known = self._known.get(key)
        if known is None:
            known = self._written_down(legs, moving, feeding)
            self._known[key] = known
        return known

    def _written_down(self, legs: Legs, moving: float, feeding: float) -> Equations:
        conducting = (bool(legs[0].conducts), bool(legs[1].conducts), bool(legs[2].conducts))
        star = solve(self.params, conducting)
        bus = self._bus(legs, feeding)
        terminals = self._terminals(legs, star, bus)
        rates = self._rates(legs, star, moving, feeding)
        if self.params.sense_tau_s:
            rates = _with_filters(rates, terminals, self.params.sense_tau_s)
        return Equations(rates, terminals, bus)

    def _leg(self, leg: Element) -> tuple[float, float, float]:
        """(1 at the high rail, voltage drop in V, series resistance in ohm) of an element."""
        p = self.params
        return leg.rail, leg.drop_sign * p.v_f_v, p.r_diode_ohm if leg.direction else p.r_on_ohm

    def _rates(self, legs: Legs, star: StarSolution, moving: float, feeding: float) -> Rates:
        p, shape, imposed = self.params, self.shape, self._imposed
        pole_pairs, j, b, esr, i_aux = float(p.pole_pairs), p.j_kg_m2, p.b_nm_s, p.esr_ohm, p.i_aux_a
        k_u, k_v, k_w = p.k_phases_v_s
        b_uv, b_vw, b_wu = star.triangle
        friction = moving * p.coulomb_nm
        # a: at the high rail, d: drop of a diode, r: all resistance of the phase
        (a_u, d_u, r_u), (a_v, d_v, r_v), (a_w, d_w, r_w) = map(self._leg, legs)
        r_u, r_v, r_w = (r + winding for r, winding in zip((r_u, r_v, r_w), p.r_phases_ohm, strict=True))
        # C and Rb of a stiff bus play no part: its voltage has no derivative
        c_bus, r_supply = (1.0, 1.0) if p.stiff else (p.c_bus_f, p.r_supply_ohm)
        bus_moves = not p.stiff

        def rates(i_u: float, i_v: float, i_w: float, v_c: float, w: float, theta: float) -> Vector:
            v_0, kq, load, connected, water = imposed
            v, dv = v_c, 0.0
            if bus_moves:
                source = feeding * connected / r_supply
                i_out = a_u * i_u + a_v * i_v + a_w * i_w + (i_aux if v_c > AUX_FROM_V else 0.0)
                if esr:
                    # V = v_c + ESR (source (V0 - V) - i_out), solved for V
                    v = (v_c + esr * (source * v_0 - i_out)) / (1.0 + esr * source)
                dv = (source * (v_0 - v) - i_out) / c_bus
            f_u, f_v, f_w = shape(theta)
            # k f is EMF per speed, and torque per current
            kf_u, kf_v, kf_w = k_u * f_u, k_v * f_v, k_w * f_w
            # what is left for inductance and star point in each phase
            u_u = a_u * v + d_u - r_u * i_u - kf_u * w
            u_v = a_v * v + d_v - r_v * i_v - kf_v * w
            u_w = a_w * v + d_w - r_w * i_w - kf_w * w
            s_uv, s_vw, s_wu = b_uv * (u_u - u_v), b_vw * (u_v - u_w), b_wu * (u_w - u_u)
            dw = 0.0
            if moving:
                torque = kf_u * i_u + kf_v * i_v + kf_w * i_w
                slip = w - water
                dw = (torque - b * w - friction - kq * slip * abs(slip) - load) / j
            return s_uv - s_wu, s_vw - s_uv, s_wu - s_vw, dv, dw, pole_pairs * w

        return rates

    def _bus(self, legs: Legs, feeding: float) -> Callable[..., float]:
        p, imposed = self.params, self._imposed
        a_u, a_v, a_w = (leg.rail for leg in legs)

        def at_capacitor(i_u: float, i_v: float, i_w: float, v_c: float, *_rest: float) -> float:
            return v_c

        def behind_esr(i_u: float, i_v: float, i_w: float, v_c: float, *_rest: float) -> float:
            v_0, _, _, connected, _ = imposed
            source = feeding * connected / p.r_supply_ohm
            i_out = a_u * i_u + a_v * i_v + a_w * i_w + (p.i_aux_a if v_c > AUX_FROM_V else 0.0)
            return (v_c + p.esr_ohm * (source * v_0 - i_out)) / (1.0 + p.esr_ohm * source)

        return behind_esr if p.esr_ohm and not p.stiff else at_capacitor

    def _terminals(self, legs: Legs, star: StarSolution, bus: Callable[..., float]) -> Callable[..., Triple]:
        p, shape = self.params, self.shape
        k_u, k_v, k_w = p.k_phases_v_s
        rw_u, rw_v, rw_w = p.r_phases_ohm
        (a_u, d_u, r_u), (a_v, d_v, r_v), (a_w, d_w, r_w) = map(self._leg, legs)
        known_u, known_v, known_w = (bool(leg.conducts) or leg in (CUT_AT_BUS, CUT_AT_GROUND) for leg in legs)
        (uu, uv, uw), (vu, vv, vw), (wu, wv, ww) = star.behind
        anything_conducts = any(leg.conducts for leg in legs)
        esr = p.esr_ohm and not p.stiff

        def terminals(
            i_u: float, i_v: float, i_w: float, v_c: float, w: float, theta: float, *_filtered: float
        ) -> Triple:
            v = bus(i_u, i_v, i_w, v_c) if esr else v_c
            f_u, f_v, f_w = shape(theta)
            e_u, e_v, e_w = k_u * w * f_u, k_v * w * f_v, k_w * w * f_w
            v_u = a_u * v + d_u - r_u * i_u
            v_v = a_v * v + d_v - r_v * i_v
            v_w = a_w * v + d_w - r_w * i_w
            if anything_conducts:
                u_u, u_v, u_w = v_u - rw_u * i_u - e_u, v_v - rw_v * i_v - e_v, v_w - rw_w * i_w - e_w
                return (
                    v_u if known_u else e_u + uu * u_u + uv * u_v + uw * u_w,
                    v_v if known_v else e_v + vu * u_u + vv * u_v + vw * u_w,
                    v_w if known_w else e_w + wu * u_u + wv * u_v + ww * u_w,
                )
            v_n = _floating_star_v(
                [e for e, known in ((e_u, known_u), (e_v, known_v), (e_w, known_w)) if not known], v, p.v_f_v
            )
            return (
                v_u if known_u else v_n + e_u,
                v_v if known_v else v_n + e_v,
                v_w if known_w else v_n + e_w,
            )

        return terminals


def _floating_star_v(emfs_v: list[float], v_bus_v: float, v_f_v: float) -> float:
    """Star point (V) of a machine to whose connected phases, with these EMFs, no leg conducts.

    The sense dividers, all alike, bring the mean of the terminals to ground, unless a diode holds the
    highest or the lowest of them at its clamp.
    """
    if not emfs_v:
        return 0.0
    v_n = -sum(emfs_v) / len(emfs_v)
    v_n = min(v_n, v_bus_v + v_f_v - max(emfs_v))
    return max(v_n, -v_f_v - min(emfs_v))


def _with_filters(rates: Rates, terminals: Callable[..., Triple], tau_s: float) -> Rates:
    """`rates` and three RC low-passes, dv_f/dt = (v_x - v_f) / tau, that load nothing."""

    def filtered(*y: float) -> Vector:
        v_u, v_v, v_w = terminals(*y)
        return (*rates(*y[:6]), (v_u - y[6]) / tau_s, (v_v - y[7]) / tau_s, (v_w - y[8]) / tau_s)

    return filtered
