"""A check beside an earlier one of the same firmware: what has been lost between the two."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from dryspin.errors import UsageError
from dryspin.search import CheckResult

LOST_SHARE = 0.1
"""A margin that has shrunk by more than this share of the limit is an objection; less is luck."""

_HELD, _BROKEN = "held", "broken"


@dataclass(frozen=True, slots=True)
class Objection:
    """One claim that is worse off, and how."""

    claim: str
    text: str


@dataclass(frozen=True, slots=True)
class Earlier:
    """The claims of an earlier result: verdict and margin by full name."""

    path: Path
    claims: Mapping[str, tuple[str, float | None]]


def read_earlier(path: Path) -> Earlier:
    """Read what `check --json` wrote. Raises UsageError where the file is none of that."""
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise UsageError(f"--against {path}: {error.strerror}; give a file that check --json wrote") from None
    except ValueError as error:
        raise UsageError(
            f"--against {path}: is no JSON ({error}); give a file that check --json wrote"
        ) from None
    if not isinstance(data, dict) or data.get("schema") != 1 or not isinstance(data.get("claims"), list):
        raise UsageError(f"--against {path}: is no result of a check; give a file that check --json wrote")
    try:
        claims = {f"{row['family']}.{row['claim']}": _judged(row) for row in data["claims"]}
    except (KeyError, TypeError):
        raise UsageError(f"--against {path}: a claim in it lacks its verdict; write the file again") from None
    return Earlier(path, claims)


def _judged(row: Mapping[str, Any]) -> tuple[str, float | None]:
    margin = row["margin"]
    return str(row["verdict"]), float(margin) if isinstance(margin, int | float) else None


def objections(result: CheckResult, earlier: Earlier) -> list[Objection]:
    """Newly broken claims, those no longer exercised or declared, and margins lost."""
    found = []
    now = {claim.claim: claim for claim in result.claims}
    for name, (verdict, margin) in earlier.claims.items():
        if name not in now:
            found.append(Objection(name, f"is no longer declared; it was {verdict}"))
            continue
        claim = now[name]
        if claim.verdict == verdict == _BROKEN:
            continue
        if claim.verdict == _BROKEN:
            found.append(Objection(name, f"is broken; it was {verdict}"))
        elif claim.verdict != _HELD and verdict in (_HELD, _BROKEN):
            found.append(Objection(name, f"is {claim.verdict}; it was {verdict}"))
        elif verdict == _HELD and _has_lost(claim.worst.margin, margin):
            found.append(Objection(name, f"has lost margin: {claim.worst.margin:+.2g}, it was {margin:+.2g}"))
    return found


def _has_lost(now: float | None, before: float | None) -> bool:
    return now is not None and before is not None and now < before - LOST_SHARE * max(1.0, abs(before))


def against_lines(found: list[Objection], earlier: Earlier) -> list[str]:
    """What a report says of them."""
    if not found:
        return [f"nothing lost against {earlier.path}"]
    return [f"against {earlier.path}: {one.claim} {one.text}" for one in found]
