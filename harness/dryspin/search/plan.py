"""What a check will do: which families, how many scenarios each, with which versions."""

import platform
from collections.abc import Sequence
from difflib import get_close_matches

import hypothesis
import numpy as np

import dryspin
from dryspin.drive import Claims, Drive
from dryspin.errors import UsageError
from dryspin.search.family import Task, planned
from dryspin.search.flavours import FLAVOURS
from dryspin.search.rehearsal import UNREHEARSED, Rehearsal


def families_to_search(claims: Claims, only: Sequence[str] = ()) -> list[str]:
    """Families with a declared claim and a flavour, in fixed order; raises UsageError."""
    declared = {claim.partition(".")[0] for claim in claims.declared}
    searchable = [family for family in FLAVOURS if family in declared]
    for family in only:
        if family not in FLAVOURS:
            near = get_close_matches(family, FLAVOURS, n=1, cutoff=0.5)
            hint = f"did you mean {near[0]!r}?" if near else f"known families: {', '.join(FLAVOURS)}"
            raise UsageError(f"no family is called {family!r}; {hint}")
        if family not in searchable:
            raise UsageError(
                f"{claims.path} declares no claim of family {family!r}; "
                f"declared: {', '.join(searchable) or 'none that can be searched'}"
            )
    if not searchable:
        raise UsageError(
            f"{claims.path} declares no claim that can be searched; families: {', '.join(FLAVOURS)}"
        )
    return [family for family in searchable if not only or family in only]


def require_rites(drive: Drive, families: Sequence[str]) -> None:
    """Raise UsageError where a family is declared whose rite the drive file does not describe."""
    for family, given, table in (
        ("calibration", drive.calibration is not None, "[calibration]"),
        ("tones", bool(drive.tones), "[[tone]]"),
    ):
        if family in families and not given:
            raise UsageError(
                f"{drive.path} has no {table}, so claims of the family {family} mean nothing; "
                f"describe it there, or do not declare {family}"
            )
    if drive.throttle.one_way and "calibration" in families:
        raise UsageError(
            f"{drive.path}: [throttle] one_way = true, but the rite of [calibration] teaches a stick of two "
            "ways; do not declare calibration for a drive that pushes one way"
        )


TWO_WAY_CLAIMS = (
    *(f"reversal.{name}" for name in ("opposing_drive", "phase_current", "bus_voltage", "in_time")),
    "throttle_map.alike",
)
"""Claims about the other way, which no scenario asks of a drive that pushes one way."""


def require_ways(drive: Drive, claims: Claims) -> None:
    """Raise UsageError where a claim on the other way is declared for a drive that pushes one way."""
    vain = [claim for claim in TWO_WAY_CLAIMS if claim in claims.declared] if drive.throttle.one_way else []
    if vain:
        raise UsageError(
            f"{claims.path} declares {', '.join(vain)}, but {drive.path} says one_way = true in [throttle]: "
            "nothing asks for the other way; declare the other claims of the family by name, such as "
            f"{'reversal.neutral' if vain[0].startswith('reversal') else 'throttle_map.rising'}"
        )


def versions() -> dict[str, str]:
    """Versions a result may depend on."""
    return {
        "dryspin": dryspin.__version__,
        "python": platform.python_version(),
        "hypothesis": hypothesis.__version__,
        "numpy": np.__version__,
    }


def tasks_of(
    families: Sequence[str], scenarios: int, seed: int, rehearsal: Rehearsal = UNREHEARSED
) -> list[Task]:
    """Scenarios split evenly, the first families get what is left over; planned rows run on."""
    tasks = []
    first_row = 0
    for k, family in enumerate(families):
        quota = scenarios // len(families) + (k < scenarios % len(families))
        tasks.append(Task(family, quota, first_row, seed, rehearsal))
        first_row += planned(quota)
    return tasks
