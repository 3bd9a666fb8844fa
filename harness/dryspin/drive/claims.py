"""`claims.toml`: which claims are declared, limits that differ from the default, suppressions."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit of this drive that differs from the default, in the default's unit, and why."""

    value: float
    why: str


@dataclass(frozen=True, slots=True)
class Suppression:
    """A claim ("family.claim") whose violations are not reported, and why."""

    claim: str
    why: str


@dataclass(frozen=True)
class Claims:
    """What the firmware is held to.

    `declared` are full names, "family.claim", in the order of the known claims; `limits` is by
    limit name.
    """

    path: Path
    declared: tuple[str, ...]
    limits: Mapping[str, Limit] = field(default_factory=dict, hash=False)
    suppressions: tuple[Suppression, ...] = ()
