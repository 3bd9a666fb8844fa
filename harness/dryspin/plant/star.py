"""The star of three windings, seen from the bridge: which voltages make which currents change.

Flux linkages are (L) i with the full inductance matrix: l_h times the phase's factor on the diagonal,
the deviations of the mutual inductances beside it. For the phases that conduct, with u_x what is left
of the terminal voltage after resistance and EMF,

    sum over y of L_xy di_y/dt + v_n = u_x        sum of di_x/dt = 0

Solved once for each set of conducting phases. The solution is written as the triangle that stands for
the star: di_u/dt = b_uv (u_u - u_v) - b_wu (u_w - u_u), and so on around. Only differences enter, so
the three add up to zero whatever rounding does, and nothing changes where all u are equal.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np

from dryspin.plant.parameters import PlantParams

Triple = tuple[float, float, float]

NOTHING: Triple = (0.0, 0.0, 0.0)


class StarSolution(NamedTuple):
    """The star with a given set of phases conducting.

    triangle: inverse inductances b_uv, b_vw, b_wu (1/H); zero at a phase that does not conduct.
    behind: for each phase x the weights with which the u of the conducting ones make up the voltage
    behind its EMF: the star point's, plus what mutual inductance induces in x. Sums to 1 (0 if none
    conducts). An open phase shows e_x + behind_x . u at its terminal.
    """

    triangle: Triple
    behind: tuple[Triple, Triple, Triple]


def inductance_matrix(params: PlantParams) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Inductance matrix (H) of U, V, W; a common mutual inductance is part of `l_h`."""
    m_uv, m_vw, m_wu = params.m_h
    l_u, l_v, l_w = (params.l_h * factor for factor in params.l_factors)
    return np.array([[l_u, m_uv, m_wu], [m_uv, l_v, m_vw], [m_wu, m_vw, l_w]])


@lru_cache(maxsize=256)
def smallest_inductance_h(params: PlantParams) -> float:
    """Least inductance that any pattern of currents adding up to zero meets.

    ValueError where it is not positive: such windings would give energy out of nothing.
    """
    zero_sum = np.array([[1.0, -1.0, 0.0], [1.0, 1.0, -2.0]]) / np.array([[2.0], [6.0]]) ** 0.5
    least = float(np.linalg.eigvalsh(zero_sum @ inductance_matrix(params) @ zero_sum.T)[0])
    if least <= 0.0:
        raise ValueError(
            f"mutual inductances {params.m_h} H leave {least:.3g} H of l_h = {params.l_h} H with factors "
            f"{params.l_factors}; their deviations must stay below the phase inductances"
        )
    return least


@lru_cache(maxsize=1024)
def solve(params: PlantParams, conducting: tuple[bool, bool, bool]) -> StarSolution:
    """The star with these phases conducting."""
    phases = [n for n in range(3) if conducting[n]]
    if not phases:
        return StarSolution(NOTHING, (NOTHING, NOTHING, NOTHING))
    inductance = inductance_matrix(params)
    n = len(phases)
    # unknowns: the slopes of the conducting phases, then v_n
    system = np.zeros((n + 1, n + 1))
    system[:n, :n] = inductance[np.ix_(phases, phases)] / params.l_h
    system[:n, n] = system[n, :n] = 1.0
    inverse = np.linalg.inv(system)
    slopes = np.zeros((3, 3))
    slopes[np.ix_(phases, phases)] = inverse[:n, :n] / params.l_h
    star_point = np.zeros(3)
    star_point[phases] = inverse[n, :n]
    mutual = inductance - np.diag(np.diag(inductance))
    behind = star_point + mutual @ slopes
    return StarSolution(
        (-float(slopes[0, 1]) + 0.0, -float(slopes[1, 2]) + 0.0, -float(slopes[2, 0]) + 0.0),
        (_triple(behind[0]), _triple(behind[1]), _triple(behind[2])),
    )


def _triple(row: np.ndarray[Any, np.dtype[np.float64]]) -> Triple:
    return float(row[0]), float(row[1]), float(row[2])
