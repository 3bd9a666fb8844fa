"""The figures of a benchmark run go to CSV, whatever the case states."""

import csv
import io
import json
from pathlib import Path

import pytest

from .to_csv import FIGURES, main, write

REPORT = {
    "machine_info": {
        "machine": "x86_64",
        "python_version": "3.11.2",
        "cpu": {"brand_raw": "Some CPU @ 3 GHz"},
    },
    "datetime": "2026-11-26T15:00:00+00:00",
    "benchmarks": [
        {
            "name": "test_whole_rig[reference]",
            "extra_info": {"times_real_time": 40.5, "ns_per_event": 367.0, "segments": 268856, "other": 1},
            "stats": {"min": 0.0987, "rounds": 7},
        },
        {"name": "test_cold_build", "extra_info": {}, "stats": {"min": 2.5, "rounds": 3}},
    ],
}


def test_a_row_a_case_with_the_machine_beside_it() -> None:
    """Figures under their names; none where a case has none."""
    text = io.StringIO()
    write(REPORT, text)
    first, second = csv.DictReader(io.StringIO(text.getvalue()))

    assert {first["processor"], second["processor"]} == {"Some CPU @ 3 GHz"}
    assert (first["case"], first["least_s"], first["rounds"]) == ("test_whole_rig[reference]", "0.0987", "7")
    assert (first["times_real_time"], first["ns_per_event"], first["segments"]) == ("40.5", "367.0", "268856")
    assert second["case"] == "test_cold_build"
    assert all(second[name] == "" for name in FIGURES)


@pytest.mark.parametrize("content", ["", "{}", "[1", None])
def test_what_is_no_report_is_told(tmp_path: Path, content: str | None) -> None:
    """With the file's name and what would write one; never a traceback."""
    path = tmp_path / "bench.json"
    if content is not None:
        path.write_text(content)
    said = main([str(path)])

    assert said is not None
    assert said.startswith(f"{path}: no report of pytest-benchmark")
    assert "--benchmark-json" in said


def test_a_report_of_a_file_is_printed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """To standard output, with a head."""
    path = tmp_path / "bench.json"
    path.write_text(json.dumps(REPORT))

    assert main([str(path)]) is None
    assert len(capsys.readouterr().out.splitlines()) == 3
