"""A check from outside: what a source says, what a plant shows, how far apart the two may be.

A check is a function of a maker of plants, so that the same check can be put to the equations, to the
compiled twin, and to a plant with an error planted in it. It returns rows and asserts nothing itself:
tests assert (test_plants.py, test_injected_errors.py), the table prints (table.py).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, Protocol

from dryspin.drive import Drive
from dryspin.plant.conduction import Gates
from dryspin.plant.parameters import PlantInput, PlantParams, PlantState
from dryspin.recording import Recording
from dryspin.scenario import Scenario


class Plant(Protocol):
    """What a check may use of a plant, whichever it is."""

    params: PlantParams
    input: PlantInput
    sense_leg: int
    level: int

    @property
    def state(self) -> PlantState: ...

    def advance(self, to_s: float, gates: Gates) -> tuple[float, str | None]: ...

    def terminal_voltages(self) -> tuple[float, float, float]: ...


Maker = Callable[[PlantParams, PlantState], Plant]
"""Makes a plant of these constants in this state. One at a time: the twin's library holds one."""

RunOnRig = Callable[[Drive, Scenario], Recording]
"""Runs a scenario of a drive whose firmware only sleeps, on the rig."""


class NotModelled(Exception):  # noqa: N818  (an answer, not an error)
    """A plant was asked for what it is known not to model; not a difference, and not a pass."""


@dataclass(frozen=True)
class Row:
    """One number beside its source. `limit` and `apart` are in `unit`; "%" means of the expected value."""

    quantity: str
    case: str
    expected: float
    seen: float
    limit: float
    unit: str

    @property
    def apart(self) -> float:
        """Difference, signed."""
        difference = self.seen - self.expected
        return 100.0 * difference / abs(self.expected) if self.unit == "%" else difference

    @property
    def holds(self) -> bool:
        """Whether the difference is within the limit; a number that is none is not."""
        return abs(self.apart) <= self.limit

    def __str__(self) -> str:
        verdict = "holds" if self.holds else "OBJECTS"
        what = f"{self.quantity} ({self.case})" if self.case else self.quantity
        return (
            f"{verdict}: {what}: expected {self.expected:.7g}, seen {self.seen:.7g}, "
            f"apart {self.apart:.3g} {self.unit}, limit {self.limit:g} {self.unit}"
        )


def share(quantity: str, expected: float, seen: float, limit_percent: float, case: str = "") -> Row:
    """A row whose limit is a share of the expected value, which must not be zero."""
    return Row(quantity, case, expected, seen, limit_percent, "%")


def apart(quantity: str, expected: float, seen: float, limit: float, unit: str, case: str = "") -> Row:
    """A row whose limit is in the unit of the quantity."""
    return Row(quantity, case, expected, seen, limit, unit)


@dataclass(frozen=True)
class Check:
    """A function that puts a plant to a source; on_rig: a plant together with the virtual controller."""

    name: str
    source: str
    rows: Callable[[Any], Iterable[Row]]
    on_rig: bool

    def put_to(self, subject: Any) -> tuple[list[Row], str]:
        """(rows, what the plant does not model): the rows found before it said so, all if "".

        `subject`: a `Maker`, or for a check on the rig a `RunOnRig`.
        """
        found: list[Row] = []
        try:
            for row in self.rows(subject):
                found.append(row)
        except NotModelled as missing:
            return found, str(missing)
        return found, ""


CHECKS: dict[str, Check] = {}
"""All checks by name, in the order of their modules."""


def check(source: str, on_rig: bool = False) -> Callable[[Any], Any]:
    """Register a function as a check against `source`; it stays callable as it is."""

    def register(rows: Callable[[Any], Iterable[Row]]) -> Callable[[Any], Iterable[Row]]:
        name = rows.__name__
        if name in CHECKS:
            raise ValueError(f"two checks are called {name!r}; a name stands for one")
        CHECKS[name] = Check(name, source, rows, on_rig)
        return rows

    return register
