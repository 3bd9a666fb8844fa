"""Both plants against the golden cases: a general ODE solver and ngspice 39, neither of them ours.

Tolerances are the files' own, except where a tighter one is within reach: samples are written with
six digits, comparator edges with a tenth of a nanosecond. The twin, at the segment length the rig
uses, is held to what its users are told: 0.01 % of the peak current, 0.005 us at the comparator.
"""

import math
from itertools import pairwise

import pytest

from dryspin.plant.conduction import HIGH_DIODE, LOW_DIODE, Legs
from dryspin.plant.equations import EquationPlant
from dryspin.plant.parameters import PlantState
from dryspin.rig.twin import TwinPlant

from . import golden

CASES = ["g1", "g2", "g4", "g5"]
PLANTS = {"equations": EquationPlant, "twin": TwinPlant}
SECONDS = [("g4", "equations"), ("g5", "equations"), ("g5", "twin")]
"""What the grid of 0.25 us makes long, and is run with the slow tests."""
# Equations: rounding of the samples in the files plus an error far below 0.01 % of the peak current.
SAMPLE_TOL = {
    "equations": {"i": 2e-5, "v_bus": 2e-5, "w": 2e-5, "terminal": 2e-5},
    "twin": {"v_bus": 2e-4, "w": 2e-3, "terminal": 2e-4},
}
TWIN_SHARE_OF_PEAK = 1e-4
EDGE_TOL_US = {"equations": 0.001, "twin": 0.005}
INTERVAL_TOL_US = 0.002


def made(name: str, kind: str) -> tuple[golden.Case, EquationPlant | TwinPlant]:
    """The case and a plant of that kind at its start."""
    case = golden.load(name)
    return case, PLANTS[kind](case.params, case.state)


def linear_product_mean(a0: float, a1: float, b0: float, b1: float) -> float:
    """Mean of a b over an interval in which both are straight lines."""
    return (2.0 * a0 * b0 + a0 * b1 + a1 * b0 + 2.0 * a1 * b1) / 6.0


@pytest.mark.parametrize("kind", PLANTS)
@pytest.mark.parametrize("name", CASES)
def test_waveforms_pass_through_the_golden_samples(name: str, kind: str) -> None:
    """Currents, bus, speed and terminal voltages at some 75 instants; steps as the plant chooses."""
    case, plant = made(name, kind)
    rows = case.raw["samples"]["rows"]
    scale = golden.tolerance_scale()

    trace = golden.run(plant, case, [row[0] * 1e-6 for row in rows])

    seen = {round(stop.state.t_s * 1e6, 4): stop for stop in trace.stops}
    tolerance = dict(SAMPLE_TOL[kind])
    if kind == "twin":
        tolerance["i"] = TWIN_SHARE_OF_PEAK * case.expected("i_max_A")[0]
    worst = dict.fromkeys(tolerance, 0.0)
    for t_us, *currents, v_bus, w, v_u, v_v, v_w in rows:
        stop = seen[round(t_us, 4)]
        s = stop.state
        for error, what in (
            *((a - b, "i") for a, b in zip((s.i_u_a, s.i_v_a, s.i_w_a), currents, strict=True)),
            (s.v_bus_v - v_bus, "v_bus"),
            (s.w_rad_s - w, "w"),
            *((a - b, "terminal") for a, b in zip(stop.terminals, (v_u, v_v, v_w), strict=True)),
        ):
            worst[what] = max(worst[what], abs(error))
    assert all(worst[what] <= tol * scale for what, tol in tolerance.items()), worst


MEANS = [
    *(pytest.param(name, kind) for name in CASES for kind in PLANTS if (name, kind) not in SECONDS),
    *(pytest.param(name, kind, marks=pytest.mark.slow) for name, kind in SECONDS),
]


@pytest.mark.parametrize(("name", "kind"), MEANS)
def test_means_and_extremes_agree_with_the_golden_ones(name: str, kind: str) -> None:
    """Torque mean, current rms and extremes, bus mean, extremes and end, speed at the end.

    The references took their extremes on a grid of 0.25 us: a peak at a gate edge may be missed by
    what the current changes in that time (5 mA), so extremes are taken on the same grid here.
    """
    case, plant = made(name, kind)
    grid_s = [n * 0.25e-6 for n in range(1, round(case.end_s / 0.25e-6))]
    on_grid = {0.0, *grid_s, case.end_s}
    stops = golden.run(plant, case, grid_s).stops
    window = [s for s in stops if s.state.t_s >= case.window_from_s - 1e-12]
    square = torque = bus = 0.0
    for one, two in pairwise(window):
        a, b = one.state, two.state
        dt = b.t_s - a.t_s
        square += dt * linear_product_mean(a.i_u_a, b.i_u_a, a.i_u_a, b.i_u_a)
        torque += dt * 0.5 * (one.torque_nm + two.torque_nm)
        bus += dt * 0.5 * (a.v_bus_v + b.v_bus_v)
    span_s = window[-1].state.t_s - window[0].state.t_s
    states = [s.state for s in window if s.state.t_s in on_grid]

    def currents(s: PlantState) -> tuple[float, float, float]:
        return s.i_u_a, s.i_v_a, s.i_w_a

    seen = {
        "T_mean_Nm": torque / span_s,
        "iU_rms_A": math.sqrt(square / span_s),
        "i_max_A": max(max(currents(s)) for s in states),
        "i_min_A": min(min(currents(s)) for s in states),
        "Vbus_mean_V": bus / span_s,
        "Vbus_max_V": max(s.v_bus_v for s in states),
        "Vbus_min_V": min(s.v_bus_v for s in states),
        "Vbus_end_V": states[-1].v_bus_v,
        "omega_end_rad_s": states[-1].w_rad_s,
    }

    expected = {key: case.expected(key) for key in case.raw["expected"]}
    assert seen.keys() == expected.keys()
    for key, (value, tol) in expected.items():
        assert abs(seen[key] - value) <= tol, (key, value, seen[key], tol)


@pytest.mark.parametrize("kind", PLANTS)
@pytest.mark.parametrize("name", ["g1", "g2", "g4"])
def test_comparator_edges_fall_on_the_golden_ones(name: str, kind: str) -> None:
    """Crossings of the open leg, jumps at gate edges and where diodes let go; none missed, none added."""
    case, plant = made(name, kind)
    wanted = case.raw["comparator_edges_us"]

    trace = golden.run(plant, case, [])

    edges = [edge for edge in trace.edges_us if edge[0] >= case.window_from_s * 1e6]
    assert len(edges) == wanted["count"]
    listed = wanted["list"]
    assert [level for _, level in edges[: len(listed)]] == [level for _, level, _ in listed]
    worst = max(abs(t - t_wanted) for (t, _), (t_wanted, _, _) in zip(edges, listed, strict=False))
    assert worst <= EDGE_TOL_US[kind] * golden.tolerance_scale()


@pytest.mark.parametrize("name", ["g1", "g2", "g4"])
def test_diodes_conduct_in_the_golden_intervals(name: str) -> None:
    """Freewheeling, demagnetisation, the open phase below ground, rectification: when and for how long."""
    case = golden.load(name)
    plant = EquationPlant(case.params, case.state)
    changes: list[tuple[float, Legs]] = [(0.0, plant.conduction)]
    plant.on_conduction = lambda t_s, legs: changes.append((t_s, legs))
    golden.run(plant, case, [])
    intervals = []
    for leg in range(3):
        since_us, diode = 0.0, None
        for t_s, legs in changes:
            if legs[leg] is diode:
                continue
            if diode is not None:
                intervals.append(("UVW"[leg], diode, since_us, t_s * 1e6 - since_us))
            diode = legs[leg] if legs[leg] in (LOW_DIODE, HIGH_DIODE) else None
            since_us = t_s * 1e6
    short = {LOW_DIODE: "DL", HIGH_DIODE: "DH"}

    for leg_name, diode_name, start_us, length_us in case.raw["diode_intervals"]["list"]:
        start_error, length_error = min(
            (abs(start - start_us), abs(length - length_us))
            for of_leg, kind, start, length in intervals
            if of_leg == leg_name and kind is not None and short[kind] == diode_name
        )
        assert max(start_error, length_error) <= INTERVAL_TOL_US * golden.tolerance_scale()
