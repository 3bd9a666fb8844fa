"""Captures of a simulated drive, made as a bench would make them: sampled, rounded to 8 bits, noisy."""

from pathlib import Path

import numpy as np
import pytest

from dryspin.capture import Capture, CaptureMap, Reading, read, read_capture, read_map
from dryspin.drive import Drive
from dryspin.recording import Recording
from dryspin.waveforms import save_vcd, terminal_voltages
from dryspin.waveforms.files import silent

from ..waveforms.conftest import voyage as voyage

SCOPE_FROM_S, SCOPE_POINTS = 1.40, 240_000
"""1 us a point."""

ADC_STEP_V = 20.0 / 256.0
"""Eight bits over a range of 20 V."""

NOISE_V = 0.05

SCOPE_MAP = """\
dryspin_map = 1

[capture]
skew_ns = 20

[[channel]]
channel = "CH1"
signal = "phase U"

[[channel]]
channel = "CH2"
signal = "phase V"
"""

GATES = [f"gate {leg} {fet}" for leg in "UVW" for fet in ("high", "low")]

EXPORT_MAP = (
    'dryspin_map = 1\n\n[capture]\nskew_ns = 0\nsample_ns = 1\nbegins = "power-on"\n'
    + "".join(f'\n[[channel]]\nchannel = "{g.replace(" ", "_").lower()}"\nsignal = "{g}"\n' for g in GATES)
    + '\n[[channel]]\nchannel = "throttle"\nsignal = "throttle"\n'
    + '\n[[channel]]\nchannel = "restart"\nsignal = "reset"\nactive = "either"\n'
)
"""For our own value change dumps, whose times are exact to 1 ns."""


def probed(recording: Recording, legs: tuple[int, ...], from_s: float, points: int) -> np.ndarray:
    """What an oscilloscope of 8 bits shows of these terminals, 1 us a point."""
    t_s = from_s + 1e-6 * np.arange(points)
    volts = terminal_voltages(recording, t_s)[:, legs]
    volts = volts + np.random.default_rng(7).normal(0.0, NOISE_V, volts.shape)
    return np.round(volts / ADC_STEP_V) * ADC_STEP_V


def write_scope_csv(path: Path, volts: np.ndarray, *, trigger_s: float = 0.1) -> None:
    """As an oscilloscope writes it: names, units, time from the trigger on."""
    t_s = 1e-6 * np.arange(len(volts)) - trigger_s
    head = "Second,CH1,CH2\ns,V,V"
    np.savetxt(path, np.c_[t_s, volts], ["%.6e", "%.3f", "%.3f"], delimiter=",", header=head, comments="")


@pytest.fixture(scope="session")
def scope_files(voyage: Recording, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """(CSV of U and V, its map)."""
    folder = tmp_path_factory.mktemp("scope")
    write_scope_csv(folder / "tug.csv", probed(voyage, (0, 1), SCOPE_FROM_S, SCOPE_POINTS))
    (folder / "map.toml").write_text(SCOPE_MAP)
    return folder / "tug.csv", folder / "map.toml"


@pytest.fixture(scope="session")
def export_files(voyage: Recording, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """(value change dump of the whole voyage, its map)."""
    folder = tmp_path_factory.mktemp("export")
    save_vcd(voyage, folder / "tug.vcd")
    (folder / "map.toml").write_text(EXPORT_MAP)
    return folder / "tug.vcd", folder / "map.toml"


def taken(files: tuple[Path, Path], drive: Drive) -> Reading:
    """A capture read to the end."""
    return read(capture_of(files, drive), drive)


def capture_of(files: tuple[Path, Path], drive: Drive) -> Capture:
    """A capture with its channels."""
    mapped: CaptureMap = read_map(files[1])
    return read_capture(files[0], mapped, drive, silent)


@pytest.fixture(scope="session")
def scope(scope_files: tuple[Path, Path], thruster: Drive) -> Reading:
    """The oscilloscope's capture, read."""
    return taken(scope_files, thruster)


@pytest.fixture(scope="session")
def export(export_files: tuple[Path, Path], thruster: Drive) -> Reading:
    """Our own value change dump, read."""
    return taken(export_files, thruster)
