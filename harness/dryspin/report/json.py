"""Results as JSON: schema 1, keys in fixed order, times in s, null where there is nothing.

Everything but `wall_s` and `real_time_factor` depends only on what was checked, with which seed
and which findings were kept; two runs give the same bytes there.
"""

import json
import math
from collections.abc import Mapping
from typing import Any

from dryspin.faults import Code
from dryspin.findings import Outcome, Trial
from dryspin.report.code_cycles import code_cycles_json
from dryspin.report.extremes import Extremes
from dryspin.report.handlers import handler_json
from dryspin.report.speed import speed_json
from dryspin.report.unknowns import unknown_json
from dryspin.report.varying import varied_json
from dryspin.search import CheckResult

SCHEMA = 1


def check_json(result: CheckResult) -> dict[str, Any]:
    """The result of a check as plain data."""
    return {
        "schema": SCHEMA,
        "totals": {
            "scenarios": result.scenarios,
            "simulated_s": result.simulated_s,
            "wall_s": result.wall_s,
            "real_time_factor": result.real_time_factor,
            "seed": result.seed,
            "versions": dict(result.versions),
            "families": {
                family: {"scenarios": scenarios, "exercised": exercised}
                for family, (scenarios, exercised) in result.families.items()
            },
            "reached": dict(result.reached),
            "shortening_trials": result.shrink_trials,
            "unknowns": unknown_json(result.unknowns),
            "speed": speed_json(result),
            "rehearsed_arming_frames": {f"{ms:g}": n for ms, n in sorted(result.rite_frames.items())},
        },
        "claims": [
            {
                "family": claim.family,
                "claim": claim.name,
                "verdict": claim.verdict,
                "margin": finite(claim.worst.margin),
                "exercised": claim.exercised,
                "moment_s": finite(claim.worst.moment_s),
                "limit": finite(claim.worst.limit),
                "seen": finite(claim.worst.seen),
                "unit": claim.worst.unit,
                "suppressed": claim.suppressed or None,
            }
            for claim in result.claims
        ],
        "findings": [
            {
                "claim": saved.finding.claim,
                "file": saved.path.as_posix(),
                "events": saved.finding.scenario.events,
                "moment_s": finite(saved.finding.outcome.moment_s),
                "source_line": saved.finding.outcome.source_line,
                "margin": finite(saved.finding.outcome.margin),
                "text": saved.finding.outcome.text,
                "digest": saved.finding.digest,
                "hashes": dict(saved.finding.hashes),
                "varied": varied_json(saved.varied),
            }
            for saved in result.findings
        ],
        "kept": [
            {
                "claim": kept.replay.finding.claim,
                "file": kept.path.as_posix(),
                "expected": kept.replay.finding.expected,
                "verdict": kept.replay.outcome.status,
                "moved": [name for name, _, _ in kept.replay.moved],
                "same_digest": kept.replay.same_digest,
            }
            for kept in result.kept
        ],
        "code": None if result.code is None else code_json(result.code),
        "timing": None if result.handlers is None else handler_json(result.handlers),
        "code_cycles": code_cycles_json(result),
    }


def code_json(code: Code) -> dict[str, Any]:
    """What checked runs showed of the C, as plain data."""
    return {
        "runs": code.runs,
        "simulated_s": code.simulated_s,
        "faults": [
            {
                "kind": fault.kind,
                "variable": fault.variable,
                "line": fault.place.line,
                "function": fault.place.function,
                "against_line": fault.against.line if fault.against else None,
                "against_function": fault.against.function if fault.against else None,
                "text": fault.text,
                "moment_s": finite(fault.moment_s),
                "vector": fault.vector,
                "chain": [f"{place}" for place in fault.chain],
                "accepted": fault.accepted or None,
            }
            for fault in code.faults
        ],
        "unused_reasons": list(code.unused_reasons),
        "left_out": code.left_out or None,
    }


def outcome_json(outcome: Outcome) -> dict[str, Any]:
    """One outcome as plain data."""
    family, _, name = outcome.claim.partition(".")
    return {
        "family": family,
        "claim": name,
        "verdict": outcome.status,
        "margin": finite(outcome.margin),
        "moment_s": finite(outcome.moment_s),
        "limit": finite(outcome.limit),
        "seen": finite(outcome.seen),
        "unit": outcome.unit,
        "text": outcome.text,
        "source_line": outcome.source_line,
    }


def run_json(trial: Trial, extremes: Extremes, hashes: Mapping[str, str]) -> dict[str, Any]:
    """One run as plain data."""
    return {
        "schema": SCHEMA,
        "simulated_s": trial.simulated_s,
        "digest": trial.digest,
        "hashes": dict(hashes),
        "top_speed_rpm": extremes.top_speed_rpm,
        "top_speed_at_s": extremes.top_speed_at_s,
        "peak_current_a": extremes.peak_current_a,
        "peak_current_at_s": extremes.peak_current_at_s,
        "claims": [outcome_json(outcome) for outcome in trial.outcomes],
    }


def json_text(data: object) -> str:
    """Readable JSON with a newline at the end; NaN and infinity are refused."""
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def finite(value: float | None) -> float | None:
    """The value, or None where JSON has no number for it."""
    return value if value is not None and math.isfinite(value) else None
