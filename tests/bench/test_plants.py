"""The four ways of `tests.bench.plants` compute the same case, or their speeds would not compare."""

import csv
from pathlib import Path

import numpy as np
import pytest

from dryspin.plant.equations import EquationPlant
from dryspin.rig.twin import TwinPlant

from ..spice import reference
from .plants import CASE, NETLIST, by_scipy, led_through, main, samples_s


def test_all_four_find_the_same_currents() -> None:
    """Root mean square, of the peak: 0.01 % for the fast plant, as on the golden cases, and for ngspice."""
    at = samples_s()
    exact = by_scipy(at)
    peak = np.abs(exact).max()
    rows = {
        "fast": led_through(TwinPlant(CASE.params, CASE.state), at),
        "equations": led_through(EquationPlant(CASE.params, CASE.state), at),
        "ngspice": np.array(reference.stored(NETLIST).samples)[:, 1:4],
    }
    seen = {name: float(np.sqrt(np.mean((found - exact) ** 2)) / peak) for name, found in rows.items()}

    assert peak > 5.0
    assert seen["equations"] < 1e-6
    assert seen["fast"] < 1e-4
    assert seen["ngspice"] < 1e-4


@pytest.mark.slow
def test_the_table_names_every_plant_and_goes_to_a_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One row a plant, on paper and in the file."""
    main(["--csv", str(tmp_path / "plants.csv")])
    printed = capsys.readouterr().out
    with (tmp_path / "plants.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))

    assert len(rows) == 3 + reference.available()
    assert all(f"| {row['plant']} | " in printed for row in rows)
    assert all(float(row["times_real_time"]) > 0.0 for row in rows)
