"""Which elements conduct at this moment: those that all obey their laws."""

from __future__ import annotations

import math
from itertools import product

from dryspin.plant.conduction import LAW_TOLERANCE_V, Gates, Legs, candidates, violation_v
from dryspin.plant.machine import Equations, Machine, Vector


def decide(
    machine: Machine, y: Vector, gates: Gates, moving: float, feeding: float
) -> tuple[Legs, Equations]:
    """The combination of elements in which each obeys its law (the least violated, if none)."""
    p = machine.params
    of_u, of_v, of_w = (candidates(gates[n], y[n], p.broken[n]) for n in range(3))
    best, least = None, math.inf
    for legs in product(of_u, of_v, of_w):
        equations = machine.equations(legs, moving, feeding)
        slopes, voltages, v_bus = equations.rates(*y), equations.terminals(*y), equations.bus(*y)
        violation = sum(
            violation_v(leg, y[n], p.l_h * slopes[n], voltages[n], v_bus, p.v_f_v)
            for n, leg in enumerate(legs)
        )
        if best is None or violation < least:
            best, least = (legs, equations), violation
        if violation <= LAW_TOLERANCE_V:
            break
    assert best is not None
    return best
