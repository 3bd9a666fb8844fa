"""The table of a recording: a row for each change, or samples."""

import csv
from pathlib import Path

import numpy as np
import pytest

from dryspin.errors import UsageError
from dryspin.recording import Recording, Signal
from dryspin.waveforms import Window, save_csv, terminal_voltages

from ..recording import samples


def test_every_change_has_its_row(tmp_path: Path) -> None:
    """In ns, with the values that stand from then on."""
    rows = [(0, Signal.GATE_U, 1), (16, Signal.GATE_U, 0), (32, Signal.GATE_U, 2)]
    path = tmp_path / "a.csv"
    save_csv(samples.recording(rows, np.zeros(0, samples.STATE)), path)

    assert path.read_text() == (
        "time_s,gate_u_high,gate_u_low\n0.000000000,1,0\n0.000001000,0,0\n0.000002000,0,1\n0.010000000,0,1\n"
    )


def test_samples_are_even_and_show_the_moment(voyage: Recording, tmp_path: Path) -> None:
    """As an oscilloscope writes it: 1 us apart, terminals as they are then."""
    path = tmp_path / "a.csv"
    save_csv(voyage, path, Window(1.5, 1.501), step_us=1.0)
    with path.open(newline="") as file:
        table = list(csv.DictReader(file))
    t_s = np.array([float(row["time_s"]) for row in table])
    wanted = terminal_voltages(voyage, t_s)[:, 0]

    assert len(table) == 1001
    assert np.allclose(np.diff(t_s), 1e-6, atol=1e-12)
    assert [float(row["v_u_v"]) for row in table] == pytest.approx(list(wanted), abs=1e-4)


def test_a_step_that_makes_a_giant_file_is_refused(voyage: Recording, tmp_path: Path) -> None:
    """Before the disk is full."""
    with pytest.raises(UsageError, match="170000001 rows, more than 50000000; ask for a longer step"):
        save_csv(voyage, tmp_path / "a.csv", step_us=0.01)

    assert list(tmp_path.iterdir()) == []
