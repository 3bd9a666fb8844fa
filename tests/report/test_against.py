"""A check beside an earlier one: what has been lost is objected to, what has not is not."""

import json
from pathlib import Path

import pytest

from dryspin.errors import UsageError
from dryspin.findings import Outcome
from dryspin.report import check_json, json_text
from dryspin.report.against import objections, read_earlier
from dryspin.search.result import ClaimResult

from .test_text import result


def claim(name: str, verdict: str, margin: float | None = None) -> ClaimResult:
    """A claim of a check, with its smallest margin."""
    return ClaimResult(name, verdict, 3, Outcome(name, verdict, margin))


def written(path: Path, *claims: ClaimResult) -> Path:
    """The file that check --json writes."""
    path.write_text(json_text(check_json(result(claims=claims))))
    return path


BEFORE = (
    claim("gates.both_fets", "held", 1.0),
    claim("gates.dead_time", "held", 0.5),
    claim("arming.loss", "held", 0.6),
    claim("startup.tries", "broken", -0.4),
    claim("arming.rite", "held", 0.4),
    claim("tones.pitch", "not exercised"),
)


def test_each_kind_of_loss_is_objected_to(tmp_path: Path) -> None:
    """Newly broken, margin gone, no longer exercised or declared; broken before and now is not new."""
    earlier = read_earlier(written(tmp_path / "old.json", *BEFORE))
    now = result(
        claims=(
            claim("gates.both_fets", "broken", -1.0),
            claim("gates.dead_time", "held", 0.2),
            claim("arming.loss", "not exercised"),
            claim("startup.tries", "broken", -0.9),
            claim("tones.pitch", "not exercised"),
        )
    )

    assert {one.claim: one.text for one in objections(now, earlier)} == {
        "gates.both_fets": "is broken; it was held",
        "gates.dead_time": "has lost margin: +0.2, it was +0.5",
        "arming.loss": "is not exercised; it was held",
        "arming.rite": "is no longer declared; it was held",
    }


def test_the_same_result_and_small_losses_are_no_objection(tmp_path: Path) -> None:
    """A search of other scenarios differs by some hundredths."""
    earlier = read_earlier(written(tmp_path / "old.json", *BEFORE))
    slightly = (claim("gates.dead_time", "held", 0.45), *(c for c in BEFORE if c.claim != "gates.dead_time"))

    assert objections(result(claims=BEFORE), earlier) == []
    assert objections(result(claims=slightly), earlier) == []


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("{", "is no JSON"),
        ("[]", "is no result of a check"),
        (json.dumps({"schema": 1, "claims": [{"family": "gates"}]}), "lacks its verdict"),
    ],
)
def test_what_is_no_result_is_refused(tmp_path: Path, text: str, words: str) -> None:
    """Before the check runs for minutes."""
    (tmp_path / "old.json").write_text(text)
    with pytest.raises(UsageError, match=words):
        read_earlier(tmp_path / "old.json")
    with pytest.raises(UsageError, match="No such file"):
        read_earlier(tmp_path / "none.json")
