"""The checks from outside as a Markdown table: `python -m tests.outside.table`.

Everything in it is computed by running the checks: for each quantity its source, the limit, and for
each plant the largest difference seen. Differences are signed: seen less expected.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from . import subjects  # noqa: F401  (registers the checks)
from .check import CHECKS, Check, Row
from .plants import MODELS


@dataclass
class Line:
    """A quantity of a check. worst: by plant, the row that uses most of its limit; missing: by plant."""

    quantity: str
    source: str
    rows: dict[str, list[Row]] = field(default_factory=dict)
    missing: dict[str, str] = field(default_factory=dict)

    def cell(self, model: str) -> str:
        """What one plant showed."""
        rows, missing = self.rows.get(model, []), self.missing.get(model, "")
        if not rows:
            return f"not modelled: {missing}"
        row = max(rows, key=used)
        text = number(row)
        if not all(row.holds for row in rows):
            text = f"**{text}**"
        return f"{text} (not modelled: {missing})" if missing and len(rows) < self.cases else text

    @property
    def is_a_condition(self) -> bool:
        """Whether it only says that something is so, and it is: no number worth a line."""
        return all(row.unit == "" and row.holds for rows in self.rows.values() for row in rows)

    @property
    def cases(self) -> int:
        """Cases of the plant that shows most."""
        return max(len(rows) for rows in self.rows.values())

    @property
    def limit(self) -> str:
        """The limit; where cases have several, the range."""
        limits = sorted({(row.limit, row.unit) for rows in self.rows.values() for row in rows})
        if len(limits) > 1:
            return f"{limits[0][0]:.2g} .. {limits[-1][0]:.2g} {limits[0][1]}"
        limit, unit = limits[0]
        return f"{limit:g} {unit}".rstrip() if limit else "exact"


def used(row: Row) -> float:
    """Share of the limit that the difference takes."""
    return abs(row.apart) / row.limit if row.limit else (0.0 if row.holds else float("inf"))


def number(row: Row) -> str:
    """A difference with its sign and unit; what is below rounding is 0."""
    value = row.apart
    if abs(value) < 1e-6 * row.limit or value == 0.0:
        return "0"
    return f"{value:+.2g} {row.unit}".rstrip()


def lines(checks: list[Check]) -> Iterator[Line]:
    """The lines of each check on each plant, in order."""
    for check in checks:
        found: dict[str, Line] = {}
        missing = {}
        for model in MODELS.values():
            rows, missing[model.name] = model.put_to(check)
            for row in rows:
                line = found.setdefault(row.quantity, Line(row.quantity, check.source))
                line.rows.setdefault(model.name, []).append(row)
        for line in found.values():
            line.missing = missing
            if line.is_a_condition:
                continue
            yield line


def markdown(checks: list[Check]) -> str:
    """The table; a difference beyond its limit is in bold."""
    names = list(MODELS)
    rows = [
        ["quantity", "source", "cases", "limit", *names],
        ["---"] * (4 + len(names)),
        *(
            [line.quantity, line.source, str(line.cases), line.limit, *(line.cell(name) for name in names)]
            for line in lines(checks)
        ),
    ]
    return "\n".join("| " + " | ".join(cell.replace("|", "\\|") for cell in row) + " |" for row in rows)


if __name__ == "__main__":
    print(markdown(list(CHECKS.values())))
