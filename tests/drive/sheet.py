"""A complete drive file as tables, for tests that change one thing in it."""

import re
from pathlib import Path
from typing import Any

import pytest
import tomli_w

from dryspin.drive import load_drive
from dryspin.errors import DriveError

SHEET: dict[str, dict[str, Any]] = {
    "motor": {
        "kv_rpm_per_v": 1000,
        "kv_from": "no-load test",
        "r_phase_ohm": {"low": 0.07, "nominal": 0.08, "high": 0.1},
        "l_phase_h": 28e-6,
        "pole_pairs": 7,
        "j_kg_m2": 1.5e-5,
    },
    "load": {"kq_nm_s2": 1e-7},
    "bridge": {
        "r_on_ohm": 5e-3,
        "chopping": "high side",
        "f_pwm_hz": 31373,
        "dead_time_ns": 500,
        "pull_downs": True,
        "i_peak_max_a": 40,
        "v_max_v": 20,
    },
    "supply": {"kind": "pack", "v_v": 11.1, "r_ohm": 0.025, "sinks": True, "c_f": 470e-6},
    "sense": {"r_top_ohm": 33e3, "r_bottom_ohm": 10e3},
    "controller": {"part": "mega168", "f_cpu_hz": 16e6, "clock": "crystal"},
}


class Absent:
    """Marks a key that a test takes out of the sheet."""


ABSENT = Absent()


def write_sheet(directory: Path, **changes: dict[str, Any]) -> Path:
    """Write the sheet to `directory`/drive.toml with the changed keys of each table."""
    tables = {name: dict(table) for name, table in SHEET.items()}
    for name, keys in changes.items():
        table = tables.setdefault(name, {})
        for key, value in keys.items():
            if value is ABSENT:
                del table[key]
            else:
                table[key] = value
    directory.mkdir(parents=True, exist_ok=True)
    path = directory / "drive.toml"
    path.write_text(tomli_w.dumps(tables))
    return path


def refusal(path: Path) -> str:
    """The message of the error, with the directory and the line taken off."""
    with pytest.raises(DriveError) as raised:
        load_drive(path)
    return re.sub(r"^.*?drive\.toml(:\d+)?: ", "", str(raised.value))
