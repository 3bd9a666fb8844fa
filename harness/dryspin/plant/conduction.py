"""The elements of a bridge leg and the law each of them obeys.

A leg is its high FET, its low FET, one of the two body diodes, or nothing at all; one whose lead to
the motor is broken ends at its own terminal. Which of these is
true follows from no rule of thumb here: every combination the gates allow is tried, the circuit is
solved for it, and the one in which every element obeys its own law is taken.
"""

from __future__ import annotations

from typing import NamedTuple

# An open leg may pass its clamp by this much before it counts as violated. Must stay below the
# margin at which the integrator calls for a new decision, or decision and event would disagree.
LAW_TOLERANCE_V = 5e-8

# Gate commands of one leg, and those of U, V, W.
GATE_OFF, GATE_HIGH, GATE_LOW = 0, 1, 2
Gates = tuple[int, int, int]


class Element(NamedTuple):
    """What connects a terminal to a rail: v = rail V + drop_sign Vf - r i, for a conducting one.

    conducts: 1.0 or 0.0; rail: 1.0 at the bus, 0.0 at ground; direction: the only sign of current
    the element can carry, 0 for either. r is that of a FET, or the slope of a diode where there is a
    direction.
    """

    name: str
    conducts: float
    rail: float
    drop_sign: float
    direction: float


OPEN = Element("open", 0.0, 0.0, 0.0, 0.0)
HIGH_FET = Element("high FET", 1.0, 1.0, 0.0, 0.0)
LOW_FET = Element("low FET", 1.0, 0.0, 0.0, 0.0)
HIGH_DIODE = Element("high diode", 1.0, 1.0, 1.0, -1.0)
LOW_DIODE = Element("low diode", 1.0, 0.0, -1.0, 1.0)
# Behind a broken lead: the terminal shows the rail its FET puts it at; with both off the sense divider
# brings it to ground.
CUT_AT_BUS = Element("broken lead, at bus", 0.0, 1.0, 0.0, 0.0)
CUT_AT_GROUND = Element("broken lead, at ground", 0.0, 0.0, 0.0, 0.0)

Legs = tuple[Element, Element, Element]


def candidates(gate: int, i_a: float, broken: bool = False) -> tuple[Element, ...]:
    """Elements that may carry `i_a` (A, into the motor) in a leg with this gate command."""
    if broken:
        return (CUT_AT_BUS,) if gate == GATE_HIGH else (CUT_AT_GROUND,)
    if gate == GATE_HIGH:
        return (HIGH_FET,)
    if gate == GATE_LOW:
        return (LOW_FET,)
    if i_a > 0.0:
        return (LOW_DIODE,)
    if i_a < 0.0:
        return (HIGH_DIODE,)
    return (OPEN, LOW_DIODE, HIGH_DIODE)


def violation_v(
    element: Element, i_a: float, l_di_dt_v: float, v_v: float, v_bus_v: float, v_f_v: float
) -> float:
    """By how many volts `element` breaks its law; 0 when it obeys.

    A FET obeys always. An open leg keeps its terminal between the two diode clamps. A diode that
    carries current obeys by its direction; one at zero current must be about to carry it. `l_di_dt_v`
    is the slope of the current times an inductance, to have all violations in one unit.
    """
    if element is OPEN:
        return max(0.0, v_v - v_bus_v - v_f_v, -v_f_v - v_v)
    if element.direction != 0.0 and i_a == 0.0:
        return max(0.0, -element.direction * l_di_dt_v)
    return 0.0
