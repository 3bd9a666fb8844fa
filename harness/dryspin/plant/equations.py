"""The equation plant: motor, bridge and bus integrated as they stand in the textbook.

The model of record. `machine.py` has the equations, `emf.py` and `star.py` what they need of the motor,
`sense.py` what the comparator gets to see, `conduction.py` and `decision.py` the laws of the switches
and diodes, `stepping.py` the integration; here they are put together: step until something discrete
happens, decide what conducts now, go on. Slow (about a quarter of real time) and independent of the
compiled twin on purpose, so that the two can judge each other.

Order within one instant: gates and input are taken over, the conducting elements are decided, the
comparator is looked at. So a jump of the comparator's input by a gate edge is reported at the edge.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from dryspin.plant.conduction import GATE_OFF, LAW_TOLERANCE_V, OPEN, Gates, Legs
from dryspin.plant.decision import decide
from dryspin.plant.emf import SIX_CORNERS, Shape, shape_of, time_to_corner_s
from dryspin.plant.machine import Equations, Machine, Vector
from dryspin.plant.parameters import PlantInput, PlantParams, PlantState
from dryspin.plant.sense import SenseLines
from dryspin.plant.snapshot import Snapshot
from dryspin.plant.star import smallest_inductance_h
from dryspin.plant.stepping import locate, rk4

COMPARATOR = "comparator"

# An open terminal calls for a new decision when it is this far beyond its clamp: more than what the
# decision tolerates, so that the decision cannot come out as before.
CLAMP_MARGIN_V = 2.0 * LAW_TOLERANCE_V
# The comparator's level holds while its input is this close to the threshold, which is where it
# lies exactly (up to rounding) as long as the rotor stands.
COMPARATOR_BAND_V = 1e-9
SUPPLY_MARGIN_V = 1e-9
# Bus and conduction depend on each other through the ESR; they agree at the first or second look.
LOOKS = 4
# Largest step, as a share of the shortest time constant (winding, bus, filter) and in seconds. At a quarter
# the error of one step is (1/4)^5 / 120 = 8e-6 of the deviation that decays with that constant.
STEP_SHARE = 0.25
STEP_MAX_S = 5e-6
# A bus that creeps by less is taken to have settled, so that a drive at rest costs no steps.
SETTLED_V_PER_S = 1e-6


class EquationPlant:
    """One drive in motion.

    Set `input`, `sense_leg` and `comparator_noise_v` (V at the pin) between calls; they take effect
    at the next `advance`. `level` is 1 while the comparator sees the terminal of `sense_leg` above the
    neutral (mean of the three terminals), as of its last reported event; its delay is not applied.
    `on_conduction`, if set, is called with time and legs whenever what conducts changes. `on_step`, if
    set, is called after each step with its length (s) and the vectors at its beginning and end.
    """

    def __init__(
        self,
        params: PlantParams,
        state: PlantState,
        shape: Shape | None = None,
        step_max_s: float | None = None,
    ) -> None:
        """All gates off; the source at the voltage of the bus. Comparator on leg U.

        `shape` overrides that of `params`, `step_max_s` the choice of the largest step. ValueError if
        the currents of `state` do not add up to zero or one flows in a broken lead, if the inductances
        are no inductances, or if the shape is none.
        """
        self.params = params
        self.input = PlantInput(v_supply_v=state.v_bus_v)
        self.sense_leg = 0
        self.comparator_noise_v = 0.0
        self.on_conduction: Callable[[float, Legs], None] | None = None
        self.on_step: Callable[[float, Vector, Vector], None] | None = None
        own_shape, self._corners = shape_of(params) if shape is None else (shape, SIX_CORNERS)
        self._machine = Machine(params, own_shape)
        self._sense = SenseLines(params)
        self._step_max_s = step_max_s if step_max_s is not None else self._largest_step_s()
        self._gates: Gates = (GATE_OFF, GATE_OFF, GATE_OFF)
        self._legs: Legs = (OPEN, OPEN, OPEN)
        self._imposed = self.input
        self.state = state
        self.level = 0
        self.level = 1 if self._margins(self._y)[-1] > 0.0 else 0

    def _largest_step_s(self) -> float:
        p = self.params
        # rates, not times: a resistance may be zero; the ESR is in the way of the current of a phase
        r_ohm = max(p.r_phases_ohm) + max(p.r_on_ohm, p.r_diode_ohm) + 2.0 * p.esr_ohm
        winding = r_ohm / smallest_inductance_h(p)
        bus = 0.0 if p.stiff else 1.0 / (p.r_supply_ohm * p.c_bus_f)
        sense = 1.0 / p.sense_tau_s if p.sense_tau_s else 0.0
        return 1.0 / max(1.0 / STEP_MAX_S, max(winding, bus, sense) / STEP_SHARE)

    # ---- state ------------------------------------------------------------------------------

    @property
    def state(self) -> PlantState:
        """State now. Setting it decides anew what conducts; gates and `level` stay as they are."""
        p, y = self.params, self._y
        return PlantState(
            self._t_s,
            *(y[0], y[1], y[2], self.bus_v(), y[4], y[5]),
            v_c_v=y[3] if p.esr_ohm else None,
            sense_v=(y[6], y[7], y[8]) if p.sense_tau_s else None,
        )

    @state.setter
    def state(self, state: PlantState) -> None:
        currents = (state.i_u_a, state.i_v_a, state.i_w_a)
        if abs(sum(currents)) > 1e-9:
            raise ValueError(f"phase currents add up to {sum(currents)} A; a star without neutral needs 0 A")
        if any(i != 0.0 and broken for i, broken in zip(currents, self.params.broken, strict=True)):
            raise ValueError(f"currents {currents} A given, but of the leads {self.params.broken} are broken")
        self._t_s = state.t_s
        i_w = -(state.i_u_a + state.i_v_a)
        v_c = state.v_bus_v if state.v_c_v is None else state.v_c_v
        self._y: Vector = (state.i_u_a, state.i_v_a, i_w, v_c, state.w_rad_s, state.theta_rad)
        if self.params.sense_tau_s:
            self._y += state.sense_v or (0.0, 0.0, 0.0)
        self._moving = math.copysign(1.0, state.w_rad_s) if state.w_rad_s else 0.0
        self._feeding = 1.0
        self._take_over(self._gates)
        if self.params.sense_tau_s and state.sense_v is None:
            self._y = (*self._y[:6], *self.terminal_voltages())

    def copy_state(self) -> Snapshot:
        """All that is needed to go on from here, bit for bit, in this plant or another of the same params."""
        return Snapshot(
            self._t_s,
            self._y,
            self._gates,
            self._legs,
            self._moving,
            self._feeding,
            self.input,
            self._imposed,
            self.sense_leg,
            self.level,
            self.comparator_noise_v,
        )

    def restore(self, snapshot: Snapshot) -> None:
        """Go back to (or on from) what `copy_state` gave."""
        self._t_s, self._y, self._gates = snapshot.t_s, snapshot.y, snapshot.gates
        self._legs, self._moving, self._feeding = snapshot.legs, snapshot.moving, snapshot.feeding
        self.input, self._imposed = snapshot.input, snapshot.imposed
        self.sense_leg, self.level = snapshot.sense_leg, snapshot.level
        self.comparator_noise_v = snapshot.comparator_noise_v
        self._machine.impose(self._imposed)
        self._equations = self._machine.equations(self._legs, self._moving, self._feeding)

    def terminal_voltages(self) -> tuple[float, float, float]:
        """Voltages (V) of the terminals U, V, W against ground, with the gates of the last call."""
        return self._equations.terminals(*self._y)

    def bus_v(self) -> float:
        """Bus voltage (V) as the bridge sees it."""
        return self._equations.bus(*self._y)

    @property
    def equations(self) -> Equations:
        """The equations that hold now."""
        return self._equations

    @property
    def vector(self) -> Vector:
        """What `equations` are evaluated at."""
        return self._y

    @property
    def feeding(self) -> bool:
        """Whether the source is plugged in and can give or, if it can, take."""
        return bool(self._feeding) and self._imposed.connected

    def torque_nm(self, y: Vector) -> float:
        """Air-gap torque (Nm) at `y`."""
        return self._machine.torque_nm(y)

    @property
    def conduction(self) -> Legs:
        """What carries the current of each leg now."""
        return self._legs

    # ---- time -------------------------------------------------------------------------------

    def advance(self, to_s: float, gates: Gates) -> tuple[float, str | None]:
        """Go on to `to_s` with these gates; return (time reached, event).

        The event is None at `to_s`, or "comparator" where `level` has just changed: at a crossing, at
        a jump, or at once if `sense_leg` now points at a phase on the other side. Gates: 0 off,
        1 high FET on, 2 low FET on. ValueError if `to_s` lies before now.
        """
        if to_s < self._t_s:
            raise ValueError(f"advance to {to_s} s asked at {self._t_s} s; restore an earlier state first")
        if gates != self._gates or self.input is not self._imposed:
            self._take_over(gates)
        margins = self._margins(self._y)
        while True:
            if margins[-1] > 0.0:
                self.level = 1 - self.level
                return self._t_s, COMPARATOR
            if self._t_s >= to_s:
                return self._t_s, None
            margins = self._step(to_s)
            if max(margins[:-1]) > 0.0:
                self._react(margins)
                margins = self._margins(self._y)

    def _step(self, to_s: float) -> tuple[float, ...]:
        """Take one step, cut at the first event, and return the margins at its end."""
        y, rates = self._y, self._equations.rates
        k1 = rates(*y)
        remaining = to_s - self._t_s
        if not (k1[0] or k1[1] or k1[2] or k1[4] or k1[5]) and _settled(k1):
            self._t_s = to_s
            if self.on_step is not None:
                self.on_step(remaining, y, y)
            return self._margins(y)
        h = remaining / math.ceil(remaining / self._step_max_s)
        last = h == remaining
        corner = time_to_corner_s(y[5], k1[5], self._corners)
        if corner < h:
            h, last = corner, False
        y_end = rk4(rates, y, k1, h)
        margins = self._margins(y_end)
        if max(margins) > 0.0:
            located, y_end = locate(rates, y, k1, h, y_end, self._margins)
            margins = self._margins(y_end)
            last = last and located == h
            h = located
        self._t_s = to_s if last else self._t_s + h
        self._y = y_end
        if self.on_step is not None:
            self.on_step(h, y, y_end)
        return margins

    # ---- events -----------------------------------------------------------------------------

    def _margins(self, y: Vector) -> tuple[float, ...]:
        """One number for each event, positive once it has happened.

        Legs U, V, W: a diode's current has reversed (A), an open terminal has passed its clamp (V).
        Supply: the bus has passed the source (V). Rotor: the speed has passed zero (rad/s), or at rest
        the torque exceeds friction (Nm). Comparator: its input has passed the threshold (V).
        """
        p = self.params
        terminals = self._equations.terminals(*y)
        v_bus = self._equations.bus(*y) if p.esr_ohm else y[3]
        leg_margins = [-1.0, -1.0, -1.0]
        for n, leg in enumerate(self._legs):
            if leg is OPEN:
                v = terminals[n]
                leg_margins[n] = max(v - v_bus - p.v_f_v, -p.v_f_v - v) - CLAMP_MARGIN_V
            elif leg.direction:
                leg_margins[n] = -leg.direction * y[n]
        supply = -1.0
        if not (p.sinks or p.stiff) and self.input.connected:
            above = v_bus - self.input.v_supply_v
            supply = (above if self._feeding else -above) - SUPPLY_MARGIN_V
        rotor = -1.0
        if self._moving:
            rotor = -self._moving * y[4]
        elif not p.fixed_speed:
            rotor = abs(self._machine.torque_at_rest_nm(y)) - p.breakaway_nm
        lines = (y[6], y[7], y[8]) if len(y) > 6 else terminals
        d = self._sense.comparator_v(lines, self.sense_leg, self.comparator_noise_v)
        comparator = (-d if self.level else d) - COMPARATOR_BAND_V
        return (*leg_margins, supply, rotor, comparator)

    def _take_over(self, gates: Gates) -> None:
        """New gates or new input: decide everything anew."""
        self._gates = gates
        self._imposed = self.input
        self._machine.impose(self.input)
        if self.params.stiff:
            self._put(v_c=self.input.v_supply_v)
        if self.params.fixed_speed:
            self._moving = 0.0
        elif self._y[4] == 0.0:
            self._moving = self._direction_from_rest()
        self._decide()

    def _react(self, margins: tuple[float, ...]) -> None:
        """Make the discrete change each positive margin stands for."""
        *leg_margins, _, rotor, _ = margins
        for n, margin in enumerate(leg_margins):
            if margin > 0.0 and self._legs[n].direction:
                self._extinguish(n)
        if rotor > 0.0:
            self._put(w=0.0)
            self._moving = self._direction_from_rest()
        self._decide()

    def _extinguish(self, leg: int) -> None:
        """A diode stops conducting: its current is exactly zero from now on, and so is the sum."""
        currents = list(self._y[:3])
        currents[leg] = 0.0
        first, second = (n for n in range(3) if n != leg)
        both = self._legs[first].conducts and self._legs[second].conducts
        currents[second] = -currents[first] if both else 0.0
        currents[first] = currents[first] if both else 0.0
        self._y = (*currents, *self._y[3:])

    def _put(self, v_c: float | None = None, w: float | None = None) -> None:
        """Set the voltage of the bus capacitor or the speed."""
        y = self._y
        self._y = (*y[:3], y[3] if v_c is None else v_c, y[4] if w is None else w, *y[5:])

    def _direction_from_rest(self) -> float:
        """Sign of the speed that sets in from rest; 0 while friction holds the rotor."""
        net = self._machine.torque_at_rest_nm(self._y)
        return math.copysign(1.0, net) if abs(net) > self.params.breakaway_nm else 0.0

    def _decide(self) -> None:
        """Decide what conducts and whether a supply that cannot sink feeds."""
        before = self._legs
        for _ in range(LOOKS):
            feeding = self._feeding
            self._legs, self._equations = decide(self._machine, self._y, self._gates, self._moving, feeding)
            if not (self.params.sinks or self.params.stiff):
                self._feeding = 1.0 if self.bus_v() <= self.input.v_supply_v else 0.0
            if self._feeding == feeding:
                break
        else:
            self._feeding = feeding
        if self._legs != before and self.on_conduction is not None:
            self.on_conduction(self._t_s, self._legs)


def _settled(rates: Vector) -> bool:
    """Whether bus and filters, which only approach their final value, are as good as there."""
    return abs(rates[3]) < SETTLED_V_PER_S and all(abs(rate) < SETTLED_V_PER_S for rate in rates[6:])
