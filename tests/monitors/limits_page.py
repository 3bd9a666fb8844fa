"""The page of all default limits, generated: a limit that moves moves the page, and must say why.

`python -m tests.monitors.limits_page "why they changed"` writes harness/dryspin/monitors/limits.md anew.
"""

import hashlib
import sys
from pathlib import Path

from dryspin.drive import Drive, load_drive
from dryspin.monitors import FAMILIES, LIMITS, claims_of
from dryspin.monitors.limits import Limit

from ..small_firmware import BOW_THRUSTER

PAGE = Path(__file__).parents[2] / "harness" / "dryspin" / "monitors" / "limits.md"
HOW = 'if the change is wanted: python -m tests.monitors.limits_page "the physical reason"'
LAST_CHANGE = "Last change: "


def users() -> dict[str, list[str]]:
    """Limit -> full names of the claims that are judged by it."""
    found: dict[str, list[str]] = {name: [] for name in LIMITS}
    for family in FAMILIES:
        for claim in claims_of(family):
            for name in claim.limits:
                found[name].append(f"{family}.{claim.name}")
    return found


def shown(limit: Limit, drive: Drive) -> str:
    """The value with its unit; one that follows from the drive as it is on the shipped pack drive."""
    value = limit.value(drive) if callable(limit.value) else limit.value
    return f"{'the drive: ' if callable(limit.value) else ''}{value:.6g} {limit.unit}".rstrip()


def digest(drive: Drive) -> str:
    """blake2b, 8 bytes in hex, of every limit's name, value, unit, reason and claims."""
    claims = users()
    lines = [
        "|".join((name, shown(limit, drive), limit.reason, *claims[name])) for name, limit in LIMITS.items()
    ]
    return hashlib.blake2b("\n".join(lines).encode(), digest_size=8).hexdigest()


def page(why: str) -> str:
    """The text of limits.md as things are now."""
    drive, claims = load_drive(BOW_THRUSTER), users()
    rows = [
        f"| `{name}` | {shown(limit, drive)} | {limit.reason} | {', '.join(claims[name])} |"
        for name, limit in LIMITS.items()
    ]
    return "\n".join(
        [
            "# Default limits",
            "",
            'What each claim is judged by unless `claims.toml` says otherwise, with a why. "The drive": the',
            "value is the drive's own, here that of the shipped pack drive. Written from `limits.py`:",
            HOW.partition(": ")[2],
            "",
            f"{LAST_CHANGE}{why}",
            "",
            f"Digest of all rows: `{digest(drive)}`",
            "",
            "| limit | default | physical reason | claims |",
            "| --- | --- | --- | --- |",
            *rows,
            "",
        ]
    )


def reason_given() -> str:
    """The reason of the last change, as the page gives it."""
    lines = PAGE.read_text(encoding="utf-8").splitlines()
    return next((line[len(LAST_CHANGE) :] for line in lines if line.startswith(LAST_CHANGE)), "")


if __name__ == "__main__":
    if len(sys.argv) != 2 or len(sys.argv[1].split()) < 4:
        sys.exit(HOW)
    PAGE.write_text(page(" ".join(sys.argv[1].split())), encoding="utf-8")
    print(f"{PAGE.name}: {digest(load_drive(BOW_THRUSTER))}")
