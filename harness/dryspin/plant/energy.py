"""Where the energy goes: one meter at each port of source, bus, bridge, machine and shaft.

Each power is written down from its own law and integrated by itself, none found by subtraction, so
that what came in and what can be accounted for may be compared. What is left over measures the error
of the integration, and shows an equation that gives energy away.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from operator import attrgetter

from dryspin.plant.equations import EquationPlant
from dryspin.plant.machine import Vector
from dryspin.plant.parameters import AUX_FROM_V
from dryspin.plant.star import inductance_matrix
from dryspin.plant.stepping import rk4


@dataclass(slots=True)
class Energies:
    """One number for each port: energy in J, or power in W.

    source: out of the ideal source. supply_ohm, esr, copper, fet: heat in the source's resistance, the
    bus capacitor's, the windings, the switches. diode: drop and slope of the body diodes. auxiliary:
    drawn from the bus by controller and regulator. electromechanical: sum of e_x i_x = T w. friction:
    Coulomb and viscous. propeller: into the water. load: against the imposed load torque.
    """

    source: float = 0.0
    supply_ohm: float = 0.0
    esr: float = 0.0
    auxiliary: float = 0.0
    copper: float = 0.0
    fet: float = 0.0
    diode: float = 0.0
    electromechanical: float = 0.0
    friction: float = 0.0
    propeller: float = 0.0
    load: float = 0.0

    def plus(self, powers: Energies, seconds: float) -> Energies:
        """Itself and `powers` (W) over `seconds`."""
        # astuple() would copy each number, at a hundred times the cost
        return Energies(*(e + p * seconds for e, p in zip(_of_ports(self), _of_ports(powers), strict=True)))


_of_ports = attrgetter(*(field.name for field in fields(Energies)))


class EnergyMeter:
    """Meters the steps of a plant from now on; `passed` holds the energies (J) so far.

    Simpson's rule on each step. Takes the plant's `on_step`. Setting the plant's state on the way adds
    or takes energy the meter does not see.
    """

    def __init__(self, plant: EquationPlant) -> None:
        self.passed = Energies()
        self._plant = plant
        self._last = plant.vector
        self._at_start = self.stored_j()
        plant.on_step = self._add

    def stored_j(self) -> tuple[float, float, float]:
        """(capacitor, windings, rotor): C v_c^2/2 (0 on a stiff bus), i L i/2, J w^2/2."""
        p, y = self._plant.params, self._last
        inductance = inductance_matrix(p)
        windings = sum(y[n] * y[m] * float(inductance[n, m]) for n in range(3) for m in range(3))
        capacitor = 0.0 if p.stiff else 0.5 * p.c_bus_f * y[3] ** 2
        return capacitor, 0.5 * windings, 0.5 * p.j_kg_m2 * y[4] ** 2

    @property
    def electrical_residual_j(self) -> float:
        """What the source gave and is neither lost, nor stored, nor passed on to the shaft."""
        e, now, then = self.passed, self.stored_j(), self._at_start
        lost = e.supply_ohm + e.esr + e.auxiliary + e.copper + e.fet + e.diode
        return e.source - lost - e.electromechanical - (now[0] + now[1] - then[0] - then[1])

    @property
    def mechanical_residual_j(self) -> float:
        """What the machine gave to the shaft and is neither spent nor in the rotor.

        Of a free rotor; one driven from outside exchanges energy with what drives it.
        """
        e = self.passed
        kept = self.stored_j()[2] - self._at_start[2]
        return e.electromechanical - e.friction - e.propeller - e.load - kept

    @property
    def throughput_j(self) -> float:
        """Sum of what passed all ports, signs left out: what to compare the residuals with."""
        return float(sum(abs(e) for e in _of_ports(self.passed)))

    def _add(self, h_s: float, start: Vector, end: Vector) -> None:
        rates = self._plant.equations.rates
        middle = rk4(rates, start, rates(*start), 0.5 * h_s) if end is not start else start
        for y, weight in ((start, 1.0), (middle, 4.0), (end, 1.0)):
            self.passed = self.passed.plus(self._powers_w(y), weight * h_s / 6.0)
        self._last = end

    def _powers_w(self, y: Vector) -> Energies:
        plant = self._plant
        p, given, legs = plant.params, plant.input, plant.conduction
        i, w, v_bus = y[:3], y[4], plant.equations.bus(*y)
        powers = Energies()
        i_aux = p.i_aux_a if y[3] > AUX_FROM_V else 0.0
        i_out = i_aux + sum(leg.rail * i_x for leg, i_x in zip(legs, i, strict=True))
        powers.auxiliary = v_bus * i_aux
        if p.stiff:
            powers.source = v_bus * i_out
        else:
            i_b = (given.v_supply_v - v_bus) / p.r_supply_ohm if plant.feeding else 0.0
            powers.source = given.v_supply_v * i_b
            powers.supply_ohm = p.r_supply_ohm * i_b**2
            powers.esr = p.esr_ohm * (i_b - i_out) ** 2
        for leg, i_x, r_x in zip(legs, i, p.r_phases_ohm, strict=True):
            powers.copper += r_x * i_x**2
            if leg.direction:
                powers.diode += p.v_f_v * abs(i_x) + p.r_diode_ohm * i_x**2
            else:
                powers.fet += p.r_on_ohm * i_x**2
        powers.electromechanical = plant.torque_nm(y) * w
        slip = w - given.water_rad_s
        powers.friction = p.coulomb_nm * abs(w) + p.b_nm_s * w**2
        powers.propeller = p.kq_nm_s2 * given.load_factor * slip * abs(slip) * w
        powers.load = given.load_nm * w
        return powers
