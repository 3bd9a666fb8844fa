"""Reports: results as text for people and as JSON for machines."""

from dryspin.report.json import check_json, json_text, outcome_json, run_json
from dryspin.report.text import (
    check_lines,
    finding_lines,
    happened_lines,
    replay_lines,
    run_lines,
    verdict_line,
)

__all__ = [
    "check_json",
    "check_lines",
    "finding_lines",
    "happened_lines",
    "json_text",
    "outcome_json",
    "replay_lines",
    "run_json",
    "run_lines",
    "verdict_line",
]
