"""Which lines of a source belong to one statement.

A compiler gives an access the line of an operator or of a whole condition, and gcc and clang do not always
agree which: of a statement that spans several lines, the line that names the variable is the one to show. And
a read and a write back are one update wherever in the statement the two stand.

A statement ends at a semicolon outside parentheses, at a brace, behind the condition of if, for, while and
switch, behind else and do, behind a label of a switch.
"""

import re
from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterator, Mapping

from dryspin.faults.fault import Place

_TOKEN = re.compile(
    r"""
    (?P<skipped> //[^\n]* | /\*.*?\*/ | ^[ \t]*\#(?:\\\n|[^\n])* )
    | "(?:\\.|[^"\\\n])*" | '(?:\\.|[^'\\\n])*'
    | (?P<word> \w+ )
    | (?P<mark> [(){}\[\];:] )
    """,
    re.VERBOSE | re.DOTALL | re.MULTILINE,
)

_CONDITIONS = ("if", "for", "while", "switch")
_ALONE = ("else", "do")
_LABELS = ("case", "default")

_NAMES = re.compile(r"[A-Za-z_]\w*")

Lines = tuple[int, int]
"""First and last line, counted from 1."""


class Statements:
    """Of the firmware's files, by name as in a `Place`."""

    def __init__(self, files: Mapping[str, bytes]) -> None:
        self._texts = {name: text.decode("utf-8", "replace") for name, text in files.items()}
        self._spans: dict[str, dict[int, list[Lines]]] = {}

    def one(self, here: Place, there: Place) -> bool:
        """Whether both are of one statement; two statements of one line are taken for one."""
        if here == there:
            return True
        (file, line), (other_file, other_line) = _parted(here), _parted(there)
        if (file, here.function) != (other_file, there.function):
            return False
        return any(first <= other_line <= last for first, last in self._at(file, line))

    def naming(self, place: Place, variable: str) -> Place:
        """The place, moved to the line of its statement that names the variable, the nearest if several do.

        As it is where its own line names it, or none does: then it is reached through a pointer or a macro.
        """
        file, line = _parted(place)
        spans = self._at(file, line)
        if not spans:
            return place
        lines = self._texts[file].splitlines()
        near = sorted(
            {k for first, last in spans for k in range(first, last + 1)}, key=lambda k: abs(k - line)
        )
        for k in near:
            if variable in _NAMES.findall(lines[k - 1]):
                return Place(f"{file}:{k}", place.function)
        return place

    def _at(self, file: str, line: int) -> list[Lines]:
        """Statements of several lines that have a part of that line."""
        if file not in self._spans:
            found: dict[int, list[Lines]] = defaultdict(list)
            for first, last in statements(self._texts.get(file, "")):
                for k in range(first, last + 1) if last > first else ():
                    found[k].append((first, last))
            self._spans[file] = dict(found)
        return self._spans[file].get(line, [])


def statements(text: str) -> Iterator[Lines]:
    """The lines of each statement of a source, in the order in which they end."""
    breaks = [found.start() for found in re.finditer("\n", text)]
    first = last = 0  # of the statement so far; 0: nothing of it yet
    depth = 0
    outer: list[int] = []  # depths of parentheses around open braces: a block may stand in an expression
    word = ""  # that the statement begins with
    for token in _TOKEN.finditer(text):
        if token["skipped"]:
            continue
        mark = token["mark"] or ""
        if mark in ("{", "}"):
            if first:
                yield first, last
            first, word = 0, ""
            if mark == "{":
                outer.append(depth)
            depth = outer.pop() if mark == "}" and outer else 0
            continue
        last = bisect_right(breaks, token.start()) + 1
        if not first:
            first, word = last, token["word"] or ""
        depth = max(depth + (mark in ("(", "[")) - (mark in (")", "]")), 0)
        if depth:
            continue
        if (
            mark == ";"
            or (mark == ")" and word in _CONDITIONS)
            or (mark == ":" and word in _LABELS)
            or word in _ALONE
        ):
            yield first, last
            first, word = 0, ""


def _parted(place: Place) -> tuple[str, int]:
    file, _, line = place.line.rpartition(":")
    return file, int(line) if line.isdigit() else 0
