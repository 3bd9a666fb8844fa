"""What a plant is given: constants of a run, moving state, imposed input.

Three separate things, so that a signature says what may change: `PlantParams` is fixed for a run,
`PlantState` moves with it, `PlantInput` is imposed from outside and may change between two calls.
SI units throughout; angles electrical, speeds mechanical; currents positive into the motor.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from dryspin.drive import Drive, Range
    from dryspin.scenario import Scenario


COPPER_PER_K, COPPER_AT_C = 0.00393, 20.0
"""Resistance that copper gains per kelvin, as a share of that at 20 degrees: annealed copper, IEC 60028."""

AUX_FROM_V = 1.0
"""Below this bus voltage a regulator gives nothing and draws nothing."""


@dataclass(frozen=True, slots=True)
class PlantParams:
    """Constants of one run. Triples are in the order U, V, W; everything after `delay_s` may be left out.

    k_v_s: peak EMF of one phase per mechanical rad/s (V s/rad), also torque per ampere in one phase
        on its flat top (Nm/A). Two phases in series make twice of it: 60 / (2 pi Kv).
    r_ohm, l_h: one phase; `l_h` is self less mutual inductance.
    b_nm_s, coulomb_nm, kq_nm_s2: torque against motion, B w + Tc sign(w) + kq w|w|; standing still,
        the rotor stays so while the torque on it is at most that of breakaway, see `static_nm`.
    r_on_ohm, v_f_v: FET; body diode = drop `v_f_v` in series with a slope of `r_on_ohm`.
    r_supply_ohm, c_bus_f, sinks: source behind a resistance into the bus capacitor; a supply with
        sinks=False takes no current back. stiff=True: the bus is the source itself.
    fixed_speed: the rotor is driven from outside and keeps the speed of the state.
    divider, offset_v, delay_s: sense divider ratio; the comparator's input offset (V at the pin,
        positive = phase seen too high) and its delay. The plant leaves the delay to the caller.
    i_aux_a: what controller and regulator draw from the bus, while it stands above AUX_FROM_V.
    r_factors, l_factors, k_factors: what makes a phase differ from `r_ohm`, `l_h`, `k_v_s`.
    m_h: deviations of the mutual inductances UV, VW, WU from their common value, which `l_h` contains:
        the flux linkage of U gains m_uv i_v + m_wu i_w, and so on.
    shape: of the EMF over the angle, "trapezoid", "sine" or "table". shape_table: f of phase U at equal
        steps over one electrical turn from 0 on, straight between them, peak about 1.
    third_harmonic: h sin(3 theta) on top of it, the same in all phases.
    diode_slope_ohm: None = `r_on_ohm`. esr_ohm: series resistance of the bus capacitor.
    static_nm: the torque at which a rotor at rest breaks away; None = `coulomb_nm`, and never below it.
    sense_tau_s: RC low-pass of the three sense lines and of the neutral made from them.
    pin_clamp_v: a sense pin stays below this (V, referred to the terminal); None = no clamp.
    broken: a phase with a broken lead carries no current, whatever its gates do.
    """

    k_v_s: float
    r_ohm: float
    l_h: float
    pole_pairs: int
    j_kg_m2: float
    b_nm_s: float
    coulomb_nm: float
    kq_nm_s2: float
    r_on_ohm: float
    v_f_v: float
    r_supply_ohm: float
    c_bus_f: float
    sinks: bool
    stiff: bool
    fixed_speed: bool
    divider: float
    offset_v: float
    delay_s: float
    i_aux_a: float = 0.0
    r_factors: tuple[float, float, float] = (1.0, 1.0, 1.0)
    l_factors: tuple[float, float, float] = (1.0, 1.0, 1.0)
    k_factors: tuple[float, float, float] = (1.0, 1.0, 1.0)
    m_h: tuple[float, float, float] = (0.0, 0.0, 0.0)
    shape: str = "trapezoid"
    shape_table: tuple[float, ...] = ()
    third_harmonic: float = 0.0
    diode_slope_ohm: float | None = None
    esr_ohm: float = 0.0
    static_nm: float | None = None
    sense_tau_s: float = 0.0
    pin_clamp_v: float | None = None
    broken: tuple[bool, bool, bool] = (False, False, False)

    @property
    def k_phases_v_s(self) -> tuple[float, float, float]:
        """EMF constant of each phase (V s/rad)."""
        a, b, c = self.k_factors
        return self.k_v_s * a, self.k_v_s * b, self.k_v_s * c

    @property
    def r_phases_ohm(self) -> tuple[float, float, float]:
        """Winding resistance of each phase."""
        a, b, c = self.r_factors
        return self.r_ohm * a, self.r_ohm * b, self.r_ohm * c

    @property
    def r_diode_ohm(self) -> float:
        """Slope of a body diode."""
        return self.r_on_ohm if self.diode_slope_ohm is None else self.diode_slope_ohm

    @property
    def breakaway_nm(self) -> float:
        """Torque beyond which a rotor at rest moves."""
        return max(self.coulomb_nm, self.static_nm or 0.0)


@dataclass(frozen=True, slots=True)
class PlantState:
    """Moving state at `t_s`. `theta_rad` is electrical and unwrapped; `w_rad_s` is mechanical.

    `v_bus_v` is what the bridge sees. `v_c_v`, the voltage inside the bus capacitor, differs from it by
    the drop over the ESR, and `sense_v` from the terminals by what the sense filters have not let
    through yet; None where there is no ESR or filter, and on setting a state: settled.
    """

    t_s: float
    i_u_a: float
    i_v_a: float
    i_w_a: float
    v_bus_v: float
    w_rad_s: float
    theta_rad: float
    v_c_v: float | None = None
    sense_v: tuple[float, float, float] | None = None


@dataclass(frozen=True, slots=True)
class PlantInput:
    """Imposed from outside, constant during one `advance`.

    `v_supply_v` is the open-circuit voltage of the source. `load_factor` multiplies the propeller's
    torque factor kq only. `load_nm` is a constant torque that turns the rotor backwards when positive.
    `connected` False: the source is unplugged, and the bus stands on its capacitor.
    `water_rad_s`: the speed at which the propeller turns freely in the water that flows past it; its
    torque is kq (w - w_water)|w - w_water|, so moving water can keep it turning, or start it.
    """

    v_supply_v: float
    load_factor: float = 1.0
    load_nm: float = 0.0
    connected: bool = True
    water_rad_s: float = 0.0


def k_phase_v_s(kv_rpm_per_v: float) -> float:
    """Phase peak EMF constant (V s/rad) of a motor of `kv_rpm_per_v` (rpm per volt line to line).

    On the flat tops two phases stand in series, so one carries half: k = 0.5 / (Kv 2 pi / 60).
    """
    return 0.5 / (kv_rpm_per_v * 2.0 * math.pi / 60.0)


def plant_params(drive: Drive, scenario: Scenario) -> PlantParams:
    """Nominal values of `drive`, with the factors and absolute values of `scenario.parts` applied.

    A supply without series resistance makes a stiff bus; a scenario that states `speed_rpm` drives
    the rotor. `winding_c` warms the copper; the drive's own resistance is that at 20 degrees.
    """
    parts = scenario.parts

    def scaled(name: str, nominal: float) -> float:
        return nominal * parts.get(name, 1.0)

    def optional(name: str, given: Range | None) -> float | None:
        return None if given is None else scaled(name, given.nominal)

    motor, load, bridge, supply, sense = drive.motor, drive.load, drive.bridge, drive.supply, drive.sense
    r_supply_ohm = scaled("r_supply", supply.r_ohm.nominal)
    warmer_k = parts.get("winding_c", COPPER_AT_C) - COPPER_AT_C
    return PlantParams(
        k_v_s=k_phase_v_s(scaled("kv", motor.kv_rpm_per_v.nominal)),
        r_ohm=scaled("r_phase", motor.r_phase_ohm.nominal) * (1.0 + COPPER_PER_K * warmer_k),
        l_h=scaled("l_phase", motor.l_phase_h.nominal),
        pole_pairs=motor.pole_pairs,
        j_kg_m2=scaled("j", motor.j_kg_m2.nominal),
        b_nm_s=load.viscous_nm_s.nominal,
        coulomb_nm=scaled("coulomb", load.coulomb_nm.nominal),
        kq_nm_s2=scaled("kq", load.kq_nm_s2.nominal),
        r_on_ohm=scaled("r_on", bridge.r_on_ohm.nominal),
        v_f_v=scaled("v_f", bridge.v_f_v.nominal),
        r_supply_ohm=r_supply_ohm,
        c_bus_f=scaled("c_bus", supply.c_f.nominal),
        sinks=supply.sinks,
        stiff=r_supply_ohm == 0.0,
        fixed_speed=bool(scenario.speed_rpm),
        divider=sense.ratio,
        offset_v=parts.get("offset_v", sense.offset_v.nominal),
        delay_s=parts.get("delay_s", sense.delay_s.nominal),
        i_aux_a=drive.controller.i_supply_a,
        r_factors=motor.r_factors,
        l_factors=motor.l_factors,
        k_factors=motor.k_factors,
        m_h=motor.mutual_h,
        shape=motor.back_emf,
        shape_table=motor.back_emf_table,
        third_harmonic=motor.third_harmonic,
        diode_slope_ohm=optional("diode_slope", bridge.diode_slope_ohm),
        esr_ohm=scaled("esr", supply.esr_ohm.nominal),
        static_nm=optional("static", load.static_nm),
        sense_tau_s=scaled("tau", sense.tau_s.nominal),
        pin_clamp_v=None if sense.pin_clamp_v is None else sense.pin_clamp_v / sense.ratio,
        broken=broken_leads(scenario),
    )


def broken_leads(scenario: Scenario) -> tuple[bool, bool, bool]:
    """Phases U, V, W whose lead is off, from power-on."""
    phases = {fault.phase for fault in scenario.faults if fault.kind == "lead open"}
    return "U" in phases, "V" in phases, "W" in phases
