"""The JSON of a check: fields that other programs rely on."""

import json
from pathlib import Path

import pytest

from dryspin.findings import Outcome
from dryspin.report import check_json, json_text
from dryspin.search.result import ClaimResult, SavedFinding

from ..findings.samples import OUTCOME, finding
from .test_text import result


def test_the_fields_are_these(tmp_path):
    """Schema 1; a field may be added, none taken away."""
    broken = ClaimResult("reversal.opposing_drive", "broken", 24, OUTCOME, suppressed="bench only")
    saved = SavedFinding(Path("found/a.toml"), finding(tmp_path))
    data = check_json(result(claims=(broken,), findings=(saved,), versions={"dryspin": "0"}))

    assert data["schema"] == 1
    assert set(data["totals"]) >= {
        "scenarios", "simulated_s", "wall_s", "real_time_factor", "seed", "versions", "families", "reached",
    }  # fmt: skip
    assert data["totals"]["families"] == {"gates": {"scenarios": 40, "exercised": 36}}
    assert data["claims"] == [
        {
            "family": "reversal",
            "claim": "opposing_drive",
            "verdict": "broken",
            "margin": -6.8,
            "exercised": 24,
            "moment_s": 1.2314,
            "limit": 400.0,
            "seen": 3120.0,
            "unit": "rpm",
            "suppressed": "bench only",
        }
    ]
    (found,) = data["findings"]
    assert found["claim"] == "reversal.opposing_drive"
    assert found["file"] == "found/a.toml"
    assert found["events"] == 3
    assert found["moment_s"] == 1.2314
    assert found["source_line"] == "reversing.c:88"
    assert set(found["hashes"]) == {"firmware", "drive", "claims", "build"}


def test_a_value_that_json_lacks_becomes_null():
    """NaN in a file would make other readers fail."""
    odd = Outcome("gates.pattern", "held", float("inf"), moment_s=float("nan"))
    data = check_json(result(claims=(ClaimResult("gates.pattern", "held", 1, odd),)))

    assert json.loads(json_text(data))["claims"][0]["margin"] is None
    assert json.loads(json_text(data))["claims"][0]["moment_s"] is None


def test_not_a_number_is_never_written():
    """The last line of defence."""
    with pytest.raises(ValueError, match="JSON"):
        json_text({"value": float("nan")})
