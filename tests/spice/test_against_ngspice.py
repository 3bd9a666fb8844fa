"""The equation plant against ngspice, which has switches and diodes but no idea of modes or crossings.

Runs ngspice where it is installed, else compares with the results stored for the same netlists (and
says so at the end of the run). Limits are what was measured, rounded up.
"""

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from dryspin.plant.conduction import OPEN
from dryspin.plant.emf import shape_of
from dryspin.plant.equations import EquationPlant

from . import reference
from .cases import CASES, Case
from .reference import NETLISTS, Reference

CURRENT_NRMS = 1e-4
OPEN_PHASE_NRMS = {"g4": 2e-4}
"""By case; the source of g4 feeds through a diode, which in ngspice is not quite without a drop."""
OPEN_PHASE_NRMS_ELSE = 5e-5
CROSSING_US = 0.001
AWAY_S = 0.5e-6
"""Samples this close to a gate edge or a diode's are left out: voltages jump there."""


@cache
def found_by_ngspice(name: str) -> Reference:
    """Live where ngspice is installed, stored otherwise."""
    netlist = netlist_of(name)
    return reference.run(netlist) if reference.available() else reference.stored(netlist)


def netlist_of(name: str) -> Path:
    """The netlist whose file name begins so."""
    (netlist,) = (path for path in NETLISTS if path.stem.startswith(f"{name}_"))
    return netlist


@dataclass(frozen=True)
class Seen:
    """What the plant did at ngspice's samples. open_leg: the leg whose EMF is smallest there."""

    samples: np.ndarray
    open_leg: np.ndarray
    changes_s: np.ndarray
    crossings: list[tuple[float, int, int]]


@cache
def seen_on_the_plant(case: Case) -> Seen:
    """Run the plant through the case, stopping at ngspice's samples."""
    plant = EquationPlant(case.params, case.state)
    plant.input = case.input
    shape, _ = shape_of(case.params)
    edges_s = case.edges_s()
    changes_s = list(edges_s)
    plant.on_conduction = lambda t_s, legs: changes_s.append(t_s)
    samples_s = {row[0] * 1e-6 for row in found_by_ngspice(case.netlist).samples}
    rows, open_legs, crossings = [], [], []
    gates = case.gates(0.0)
    stops = sorted({*edges_s, *samples_s, case.end_s})
    for stop_s in stops:
        while True:
            reached_s, event = plant.advance(stop_s, gates)
            f = shape(plant.state.theta_rad)[plant.sense_leg]
            jump = any(abs(reached_s - t_s) < 1e-9 for t_s in changes_s[-4:]) or reached_s in edges_s
            if event and not jump and abs(f) < reference.CROSSING_MAX_F:
                assert plant.conduction[plant.sense_leg] is OPEN
                crossings.append((reached_s * 1e6, plant.sense_leg, plant.level))
            if event is None:
                break
        state = plant.state
        # just after a border the leg that opens there is the smallest
        ahead_rad = state.theta_rad + 1e-9
        plant.sense_leg = int(np.argmin(np.abs(shape(ahead_rad))))
        if stop_s in samples_s:
            currents = (state.i_u_a, state.i_v_a, state.i_w_a)
            rows.append((stop_s * 1e6, *currents, state.v_bus_v, *plant.terminal_voltages()))
            open_legs.append(plant.sense_leg)
        if stop_s in edges_s:
            gates = case.gates(stop_s)
    return Seen(np.array(rows), np.array(open_legs), np.array(changes_s), crossings)


def nrms(error: np.ndarray, scale: float) -> float:
    """Root mean square of `error` as a share of `scale`."""
    return float(np.sqrt(np.mean(error**2)) / scale)


@pytest.fixture(params=CASES, ids=lambda case: case.netlist)
def case(request: pytest.FixtureRequest) -> Case:
    """Each netlist in turn."""
    value = request.param
    assert isinstance(value, Case)
    return value


def test_currents_and_bus_agree(case: Case) -> None:
    """Root mean square of the difference, of the peak current and of the supply voltage."""
    theirs, ours = np.array(found_by_ngspice(case.netlist).samples), seen_on_the_plant(case).samples

    assert nrms(ours[:, 1:4] - theirs[:, 1:4], np.abs(theirs[:, 1:4]).max()) < CURRENT_NRMS
    assert nrms(ours[:, 4] - theirs[:, 4], case.v_supply_v) < CURRENT_NRMS


def test_open_phase_agrees(case: Case) -> None:
    """Voltage of the phase whose EMF passes through zero, of the supply voltage, away from edges."""
    theirs, seen = np.array(found_by_ngspice(case.netlist).samples), seen_on_the_plant(case)
    apart_s = np.abs(theirs[:, :1] * 1e-6 - seen.changes_s[None, :]).min(axis=1)
    calm = np.flatnonzero(apart_s > AWAY_S)
    columns = 5 + seen.open_leg[calm]

    assert len(calm) > 200
    assert nrms(seen.samples[calm, columns] - theirs[calm, columns], case.v_supply_v) < OPEN_PHASE_NRMS.get(
        case.netlist, OPEN_PHASE_NRMS_ELSE
    )


def test_crossings_agree(case: Case) -> None:
    """Every smooth crossing of the open phase, the same leg and direction at the same moment.

    All low (g5) there is no open phase; its comparator is left alone.
    """
    theirs, ours = found_by_ngspice(case.netlist).crossings, seen_on_the_plant(case).crossings
    if case.chopping == "brake":
        assert ours == []
        return

    assert [(leg, rising) for _, leg, rising in ours] == [(leg, rising) for _, leg, rising in theirs]
    assert len(ours) > 5
    apart_us = [abs(one[0] - two[0]) for one, two in zip(ours, theirs, strict=True)]
    assert max(apart_us) < CROSSING_US


@pytest.mark.parametrize("netlist", NETLISTS, ids=lambda path: path.stem)
def test_stored_results_belong_to_their_netlist(netlist: Path) -> None:
    """A changed netlist needs `python -m tests.spice.reference`; where ngspice is at hand, so does a
    version that computes something else.
    """
    stored = reference.stored(netlist)
    assert stored.netlist == reference.digest(netlist)
    if reference.available():
        live = found_by_ngspice(netlist.stem.split("_")[0])
        assert np.array(live.samples)[:, 1:] == pytest.approx(np.array(stored.samples)[:, 1:], abs=5e-3)
