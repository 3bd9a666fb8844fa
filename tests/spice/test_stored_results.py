"""Results of ngspice, kept with the hash of their netlist for machines without it; and how close it is."""

import shutil
from pathlib import Path

import numpy as np
import pytest

from dryspin.plant.equations import EquationPlant

from . import reference
from .cases import CASES, Case
from .comparison import differences
from .reference import NETLISTS

CURRENT = 1e-4
OPEN_PHASE = {"g4": 2e-4}
"""By case; the source of g4 feeds through a diode, which in ngspice is not quite without a drop."""
OPEN_PHASE_ELSE = 5e-5
CROSSING_US = 0.001


EACH = [pytest.param(case, marks=pytest.mark.slow if k else ()) for k, case in enumerate(CASES)]
NETLIST = [pytest.param(path, marks=pytest.mark.slow if k else ()) for k, path in enumerate(NETLISTS)]
"""One of each in the default suite: the equations and ngspice take seconds for each."""


@pytest.mark.parametrize("case", EACH, ids=lambda case: case.netlist)
def test_equations_are_closer_to_ngspice_than_both_plants_need_be(case: Case) -> None:
    """What was measured, rounded up: the model of record is held tighter than what users are told."""
    d = differences(EquationPlant, case)

    assert max(d.current, d.bus) < CURRENT
    assert d.open_phase < OPEN_PHASE.get(case.netlist, OPEN_PHASE_ELSE)
    assert d.calm > 200
    assert d.same_crossings
    assert d.crossings > 5 or case.chopping == "brake"
    assert d.crossing_us < CROSSING_US


@pytest.mark.parametrize("netlist", NETLIST, ids=lambda path: path.stem)
def test_stored_results_belong_to_their_netlist(netlist: Path) -> None:
    """Where ngspice is at hand, it still computes what was stored."""
    stored = reference.stored(netlist)
    assert len(stored.samples) > 300
    if reference.available():
        live = reference.run(netlist)
        assert np.array(live.samples)[:, 1:] == pytest.approx(np.array(stored.samples)[:, 1:], abs=5e-3)
        assert [edge[1:] for edge in live.crossings] == [edge[1:] for edge in stored.crossings]


@pytest.fixture
def without_ngspice(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A machine on whose path there is nothing."""
    monkeypatch.setenv("PATH", str(tmp_path))
    assert shutil.which("ngspice") is None


@pytest.mark.usefixtures("without_ngspice")
def test_machine_without_ngspice_compares_with_stored_results() -> None:
    """Every netlist has some, and they are what the comparison gets."""
    for netlist in NETLISTS:
        assert reference.found_by_ngspice(netlist) == reference.stored(netlist)
    with pytest.raises(FileNotFoundError):
        reference.run(NETLISTS[0])


@pytest.mark.usefixtures("without_ngspice")
def test_changed_netlist_refuses_the_stored_results(tmp_path: Path) -> None:
    """One digit of one parameter is another circuit; so is a netlist nobody has run."""
    text = NETLISTS[0].read_text()
    changed = tmp_path / NETLISTS[0].name
    changed.write_text(text.replace(".param Rph=0.1\n", ".param Rph=0.2\n"))
    assert changed.read_text() != text
    message = f"{changed.name} has changed since its results were stored; install ngspice and run"
    with pytest.raises(RuntimeError, match=message):
        reference.found_by_ngspice(changed)

    unknown = tmp_path / "new.cir"
    unknown.write_text(text)
    with pytest.raises(RuntimeError, match=r"new.cir: no stored results; install ngspice and run"):
        reference.found_by_ngspice(unknown)


def test_run_that_gave_up_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """ngspice leaves plausible data behind when it gives up: here, at 1 ms of 2.5."""
    row = " ".join(["1e-3"] + ["0"] * 10)
    stand_in = tmp_path / "ngspice"
    stand_in.write_text(f"#!/bin/sh\nprintf 'head\\n{row}\\n{row}\\n' > waves.dat\n")
    stand_in.chmod(0o755)
    monkeypatch.setenv("PATH", str(tmp_path))

    with pytest.raises(RuntimeError, match=r"ngspice stopped at 0\.001 s of 0\.0025 s"):
        reference.found_by_ngspice(NETLISTS[0])
