"""Figures of a benchmark run as CSV, one row a case, the machine beside each, so that machines compare.

    pytest tests/bench --benchmark-enable --benchmark-json=bench.json
    python -m tests.bench.to_csv bench.json > bench.csv

`least_s` is the shortest round; the other columns are what the cases state: simulated seconds for one of
the CPU, nanoseconds an event, events a simulated second, shares. Empty where a case has no such figure.
"""

from __future__ import annotations

import csv
import json
import sys
from pathlib import Path
from typing import Any, TextIO

FIGURES = (
    *("times_real_time", "ns_per_event", "events_per_simulated_s", "segments", "events", "port_calls"),
    *("share_of_firmware", "share_of_plant", "share_of_recording", "share_of_run"),
)


def write(report: dict[str, Any], to: TextIO) -> None:
    """The rows of pytest-benchmark's JSON `report`."""
    machine = report["machine_info"]
    named = machine.get("cpu", {}).get("brand_raw") or machine.get("processor") or machine["machine"]
    writer = csv.writer(to, lineterminator="\n")
    writer.writerow(["processor", "python", "date", "case", "rounds", "least_s", *FIGURES])
    for case in report["benchmarks"]:
        figures = [case["extra_info"].get(name, "") for name in FIGURES]
        stats = case["stats"]
        head = [named, machine["python_version"], report["datetime"], case["name"]]
        writer.writerow([*head, stats["rounds"], stats["min"], *figures])


def main(arguments: list[str]) -> str | None:
    """Write CSV to standard output; what was wrong, if something was."""
    if len(arguments) != 1:
        return __doc__
    try:
        report = json.loads(Path(arguments[0]).read_text(encoding="utf-8"))
        write(report, sys.stdout)
    except (OSError, ValueError, KeyError) as error:
        return (
            f"{arguments[0]}: no report of pytest-benchmark ({error}); write one with "
            "pytest tests/bench --benchmark-enable --benchmark-json=FILE"
        )
    return None


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
