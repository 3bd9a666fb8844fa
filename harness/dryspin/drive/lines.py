"""Where each key of a TOML text stands, so that an error about a value can name its line.

The standard library's reader gives values without positions. This is a scan of text that it has
already accepted: it follows headers, brackets and strings just far enough to tell a key from the
inside of a value.
"""

import re

KeyPath = tuple[str | int, ...]

_PART = r"""(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')"""
_DOTTED = rf"{_PART}(?:\s*\.\s*{_PART})*"
_HEADER = re.compile(rf"\s*(\[\[?)\s*({_DOTTED})\s*\]\]?")
_KEY = re.compile(rf"\s*({_DOTTED})\s*=")
# In this order: a triple quote begins like an empty string.
_TOKEN = re.compile(r'"""|\'\'\'|"(?:\\.|[^"\\])*"|\'[^\']*\'|#.*|[\[\]{}]')


def key_lines(text: str) -> dict[KeyPath, int]:
    """Line number (from 1) of every table and key; tables of an array are numbered from 0."""
    lines: dict[KeyPath, int] = {}
    counts: dict[KeyPath, int] = {}
    table: KeyPath = ()
    depth = 0
    open_quote = ""
    for number, line in enumerate(text.split("\n"), start=1):
        start = 0
        if not open_quote and depth == 0:
            if header := _HEADER.match(line):
                table = _numbered(_parts(header[2]), counts, new=header[1] == "[[")
                lines.setdefault(table, number)
                continue
            if key := _KEY.match(line):
                path = table + _parts(key[1])
                for length in range(len(table) + 1, len(path) + 1):
                    lines.setdefault(path[:length], number)
                start = key.end()
        depth, open_quote = _after(line, start, depth, open_quote)
    return lines


def _parts(dotted: str) -> KeyPath:
    return tuple(part.strip("\"'") for part in re.findall(_PART, dotted))


def _numbered(path: KeyPath, counts: dict[KeyPath, int], *, new: bool) -> KeyPath:
    """The header's path with the number of each array's latest table put in."""
    numbered: KeyPath = ()
    for k, part in enumerate(path):
        numbered += (part,)
        if new and k == len(path) - 1:
            counts[numbered] = counts.get(numbered, -1) + 1
        if numbered in counts:
            numbered += (counts[numbered],)
    return numbered


def _after(line: str, start: int, depth: int, open_quote: str) -> tuple[int, str]:
    """Bracket depth and open triple quote at the end of a line."""
    at = start
    while True:
        if open_quote:
            end = line.find(open_quote, at)
            if end < 0:
                return depth, open_quote
            at, open_quote = end + 3, ""
        token = _TOKEN.search(line, at)
        if token is None:
            return depth, ""
        at = token.end()
        if token[0] in ('"""', "'''"):
            open_quote = token[0]
        elif token[0] in "[{":
            depth += 1
        elif token[0] in "]}":
            depth -= 1
