"""What a monitor says about one claim over one recording."""

from dataclasses import dataclass
from enum import StrEnum


class Status(StrEnum):
    """Held; broken; not exercised: the precondition was never met; cannot tell: signals are missing."""

    HELD = "held"
    BROKEN = "broken"
    NOT_EXERCISED = "not exercised"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True)
class Verdict:
    """One claim judged.

    margin    distance to the limit as a share of it, negative when broken: (limit - seen) / limit for
              a maximum, (seen - limit) / limit for a minimum, the smaller of both for a range;
              +1 / -1 where the claim has no distance; None where it was not judged
    moment_s  when the worst was seen, s from power-on
    limit     in `unit`, as is `seen`, the worst value seen
    text      one sentence on what happened
    row       edge of the recording whose firmware line acted
    """

    family: str
    claim: str
    status: Status
    margin: float | None = None
    moment_s: float | None = None
    limit: float | None = None
    seen: float | None = None
    unit: str = ""
    text: str = ""
    row: int | None = None

    @property
    def name(self) -> str:
        """Full name, "family.claim"."""
        return f"{self.family}.{self.claim}"


@dataclass(frozen=True, slots=True)
class Ruling:
    """A verdict before the registry has put family and claim to it; the same fields."""

    status: Status
    margin: float | None = None
    moment_s: float | None = None
    limit: float | None = None
    seen: float | None = None
    unit: str = ""
    text: str = ""
    row: int | None = None


def not_exercised(text: str) -> Ruling:
    """The precondition was never met; `text` says what was missing."""
    return Ruling(Status.NOT_EXERCISED, text=text)


def discrete(broken: bool, text: str, moment_s: float | None = None, row: int | None = None) -> Ruling:
    """A claim without a distance: margin +1 or -1."""
    status = Status.BROKEN if broken else Status.HELD
    return Ruling(status, -1.0 if broken else 1.0, moment_s, text=text, row=row)


def at_most(
    seen: float, limit: float, unit: str, text: str, moment_s: float | None = None, row: int | None = None
) -> Ruling:
    """A maximum: broken when `seen` is above `limit`."""
    return by_margin((limit - seen) / limit, seen, limit, unit, text, moment_s, row)


def at_least(
    seen: float, limit: float, unit: str, text: str, moment_s: float | None = None, row: int | None = None
) -> Ruling:
    """A minimum: broken when `seen` is below `limit`."""
    return by_margin((seen - limit) / limit, seen, limit, unit, text, moment_s, row)


def by_margin(
    margin: float,
    seen: float,
    limit: float,
    unit: str,
    text: str,
    moment_s: float | None = None,
    row: int | None = None,
) -> Ruling:
    """A claim whose margin is already known; broken when it is negative beyond rounding."""
    status = Status.BROKEN if margin < -1e-9 else Status.HELD
    moment_s = None if moment_s is None else float(moment_s)
    row = None if row is None or row < 0 else int(row)
    return Ruling(status, float(margin), moment_s, float(limit), float(seen), unit, text, row)


def worst(rulings: list[Ruling], otherwise: str) -> Ruling:
    """The ruling with the smallest margin, the earlier of equals; `otherwise` says why there is none."""
    judged = [ruling for ruling in rulings if ruling.margin is not None]
    if not judged:
        return not_exercised(otherwise)
    return min(judged, key=lambda ruling: ruling.margin if ruling.margin is not None else 0.0)
