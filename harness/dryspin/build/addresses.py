"""Code for the part, as intermediate representation, that copies or fills addresses by bytes.

An address has 2 bytes on the part, and the front end counts them so; here it has 8.
"""

import re

from dryspin.errors import BuildError

_NAME = r"%(?:[\w.]+|\"[^\"]+\")"
_NAMED = re.compile(rf"^({_NAME}) = type (.*)$", re.MULTILINE)
_USED = re.compile(_NAME)
_CAST = re.compile(r"^  (%\d+) = bitcast (.+?)\* %\d+ to i8\*", re.MULTILINE)
_CONSTANT = re.compile(r"bitcast \(([^@]+?)\* @")
_BY_BYTES = re.compile(r"@(?:llvm\.mem(?:cpy|move|set)\b|mem(?:cpy|move|set|cmp)\()")
_ARGUMENT = re.compile(r"%\d+")


def refuse_copied_addresses(text: str, name: str) -> None:
    """Raise BuildError where the source `name` copies, compares or fills by bytes what holds an address."""
    if not _BY_BYTES.search(text):
        return
    holding = _holding(text)
    cast: dict[str, str] = {}
    for line in text.splitlines():
        if line.startswith("define "):
            cast = {}
        elif found := _CAST.match(line):
            cast[found[1]] = found[2]
        elif _BY_BYTES.search(line) and not line.startswith("declare "):
            kinds = [cast.get(argument, "") for argument in _ARGUMENT.findall(line)]
            for kind in (*kinds, *_CONSTANT.findall(line)):
                if _holds(kind, holding):
                    raise BuildError(
                        f"{name}: copies or fills a {_spoken(kind)}, which holds an address, by bytes; "
                        "an address has 2 bytes on the part and 8 here, so this cannot be run with the "
                        "part's integers. Copy it member by member"
                    )


def _holding(text: str) -> set[str]:
    """Named types that hold an address, themselves or in a member."""
    kinds = dict(_NAMED.findall(text))
    holding: set[str] = set()
    while more := {name for name, inside in kinds.items() if _holds(inside, holding)} - holding:
        holding |= more
    return holding


def _holds(kind: str, holding: set[str]) -> bool:
    return "*" in kind or not holding.isdisjoint(_USED.findall(kind))


def _spoken(kind: str) -> str:
    return kind.strip("%").replace('"', "")
