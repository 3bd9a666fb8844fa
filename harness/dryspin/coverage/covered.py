"""What was reached, line by line and branch by branch."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import NamedTuple


class Mark(NamedTuple):
    """A place that a run may reach: `way` is "" for a statement, else how a condition or switch went."""

    file: str
    line: int
    column: int
    way: str = ""


FARTHEST = 2
"""Lines apart at most that are told together: a brace or a blank line may lie between."""


@dataclass(frozen=True)
class Coverage:
    """All marks of a firmware and those that were reached."""

    marks: tuple[Mark, ...]
    reached: frozenset[Mark]

    @property
    def lines(self) -> Mapping[tuple[str, int], bool]:
        """Whether each line with a statement was reached, in order; one of several statements is enough."""
        found: dict[tuple[str, int], bool] = {}
        for mark in sorted(self.marks):
            if not mark.way:
                place = mark.file, mark.line
                found[place] = found.get(place, False) or mark in self.reached
        return found

    @property
    def branches(self) -> Mapping[Mark, bool]:
        """Whether each way of each condition and each case of a switch was taken, in order."""
        return {mark: mark in self.reached for mark in sorted(self.marks) if mark.way}

    @property
    def missed_lines(self) -> list[str]:
        """Lines that nothing reached, neighbours together: "duty.c:12-14"."""
        return [_span(file, lines) for file, lines in _neighbours(self.lines)]

    @property
    def missed_branches(self) -> list[str]:
        """Ways that were not taken on lines that were reached: "duty.c:12 never true"."""
        lines = self.lines
        return [
            f"{mark.file}:{mark.line} {_never(mark.way)}"
            for mark, taken in self.branches.items()
            if not taken and lines.get((mark.file, mark.line), True)
        ]


def _never(way: str) -> str:
    return f"never {way}" if way in ("true", "false") else f"no {way}"


def _span(file: str, lines: list[int]) -> str:
    return f"{file}:{lines[0]}" + (f"-{lines[-1]}" if len(lines) > 1 else "")


def _neighbours(lines: Mapping[tuple[str, int], bool]) -> Iterable[tuple[str, list[int]]]:
    """Runs of lines not reached, with no reached one between."""
    group: list[int] = []
    file = ""
    for (name, line), reached in lines.items():
        if group and (reached or name != file or line > group[-1] + FARTHEST):
            yield file, group
            group = []
        file = name
        if not reached:
            group.append(line)
    if group:
        yield file, group
