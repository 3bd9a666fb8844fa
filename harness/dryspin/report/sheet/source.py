"""Lines of firmware as a sheet shows them: with their neighbours, and with what decided on them."""

import re
from collections.abc import Collection, Mapping, Sequence
from typing import Final, NamedTuple

_AROUND: Final = 4
AROUND_CALLER: Final = 2
"""Lines of source before and after."""

_DECIDES: Final = re.compile(r"\b(if|else|switch|case|default|while|for)\b")

_BARE_ELSE: Final = re.compile(r"\W*else\W*")

_FARTHEST: Final = 12
"""Lines between a line and the condition that it hangs on: what is farther would fill the page."""


class Source(NamedTuple):
    """A line of firmware: "file.c:88", and the text around it as (number, text, whether it is that one)."""

    line: str
    excerpt: list[tuple[int, str, bool]]


def excerpt(
    sources: Mapping[str, bytes], line: str, around: int = _AROUND, also: Collection[int] = ()
) -> list[tuple[int, str, bool]]:
    """Lines of firmware around `line` and others of its file: (number, text, whether it is one of them).

    From the condition on that the first of them hangs on, where that is near. [] if unknown.
    """
    name, _, number = line.rpartition(":")
    text = sources.get(name)
    if text is None or not number.isdigit():
        return []
    lines = [one.expandtabs(4) for one in text.decode("utf-8", "replace").splitlines()]
    own = {int(number), *also}
    first = max(min(min(own) - around, _decided_at(lines, min(own))), 1)
    last = min(max(own) + around, len(lines))
    return [(k, lines[k - 1], k in own) for k in range(first, last + 1)]


def _decided_at(lines: Sequence[str], number: int) -> int:
    """Number of the line with the condition around line `number`, told by its indent; else `number`."""
    if not 1 <= number <= len(lines):
        return number
    within = _indent(lines[number - 1])
    for k in range(number - 1, max(number - _FARTHEST, 1) - 1, -1):
        line = lines[k - 1]
        if not line.strip() or _indent(line) >= within:
            continue
        # A brace on a line of its own, and an else, stand as far in as their condition.
        beside = line.strip() == "{" or _BARE_ELSE.fullmatch(line) is not None
        if _DECIDES.search(line) and not beside:
            return k
        within = _indent(line) + beside
    return number


def _indent(line: str) -> int:
    """Spaces before the first letter."""
    return len(line) - len(line.lstrip(" "))
