"""Variables that handlers and the main line share by name and that are not volatile, without a run.

Read from the assembly of the checked build without optimisation: there each access to a variable is one call
that says read or write, volatile or not, with the variable's symbol just before it. What is reached through
pointers is not seen, and whether the handler's interrupt is on at that line is for `dryspin check` to say:
here an access counts as guarded behind cli() in the same function, and in main() up to its sei().
"""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from dryspin.build.lines import spoken

_FUNCTION = re.compile(r"^([A-Za-z_]\w*):")
_LINE = re.compile(r"^\s*\.loc\s+(\d+)\s+(\d+)")
_FILE = re.compile(r'^\s*\.file\s+(\d+)\s+(?:"([^"]*)"\s+)?"([^"]*)"')
_ADDRESS = re.compile(r"^\s*(?:lea|mov)q\s+([A-Za-z_]\w*)(?:[+-]\d+)?(?:@GOTPCREL)?(?:[+-]\d+)?\(%rip\)")
_CALL = re.compile(r"^\s*callq?\s+([A-Za-z_]\w*)")
_ACCESS = re.compile(r"^__tsan_(?:unaligned_)?(volatile_)?(read|write)\w*$")
_ATTACH = "attachInterrupt"
_OFF = ("dryspin_cli", "dryspin_enter_off")
_ON = ("dryspin_sei", "dryspin_restore", "dryspin_leave_on", "dryspin_enter_on")
_REGISTERS = "dryspin_registers"
_STATUS = f"{_REGISTERS}+95"
"""SREG, as an operand."""


@dataclass(frozen=True, slots=True)
class _Access:
    variable: str
    write: bool
    volatile: bool
    guarded: bool
    line: str


@dataclass
class _Code:
    """One function: what it accesses by name, whom it calls, whose addresses it hands on."""

    accesses: list[_Access] = field(default_factory=list)
    calls: set[str] = field(default_factory=set)
    attached: set[str] = field(default_factory=set)


@dataclass(frozen=True, slots=True)
class Unmarked:
    """A variable that is not volatile, at `line` of the main line, and the handler it is shared with."""

    line: str
    variable: str
    handler: str


def unmarked(assemblies: Iterable[Path], sources: Iterable[str]) -> list[Unmarked]:
    """Each such variable once, at its first line in one of `sources`, in the order of lines."""
    functions: dict[str, _Code] = {}
    wanted = frozenset(sources)
    for path in assemblies:
        functions |= _functions(path.read_text(encoding="utf-8", errors="replace"), wanted)
    attached = {name for code in functions.values() for name in code.attached}
    entries = sorted({name for name in functions if name.startswith("__vector_")} | attached)
    main_line = _reached(functions, ("main", "_Z5setupv", "_Z4loopv"))
    by_handler = {entry: _reached(functions, (entry,)) for entry in entries}
    # Code that handlers run as well is a machine of states, whose callers see to what may come between.
    apart = main_line.difference(*by_handler.values())
    found: dict[str, tuple[_Access, str]] = {}
    for name in sorted(apart):
        for access in functions[name].accesses:
            if access.volatile or access.guarded:
                continue
            for entry, reached in by_handler.items():
                if _shares(access, functions, reached):
                    known = found.get(access.variable)
                    if known is None or _order(access.line) < _order(known[0].line):
                        found[access.variable] = access, entry
                    break
    variables = sorted(found)
    plain = dict(zip(variables, spoken(variables), strict=True))
    handlers = {entry: spoken([entry])[0].partition("(")[0] for entry in entries}
    rows = [Unmarked(a.line, plain[name], handlers[entry]) for name, (a, entry) in found.items()]
    return sorted(rows, key=lambda row: (_order(row.line), row.variable))


def _shares(access: _Access, functions: Mapping[str, _Code], reached: Iterable[str]) -> bool:
    return any(
        other.variable == access.variable and (access.write or other.write)
        for name in reached
        for other in functions[name].accesses
    )


def _order(line: str) -> tuple[str, int]:
    file, _, number = line.rpartition(":")
    return file, int(number)


def _reached(functions: Mapping[str, _Code], roots: Iterable[str]) -> set[str]:
    reached: set[str] = set()
    waiting = [name for name in roots if name in functions]
    while waiting:
        name = waiting.pop()
        if name not in reached:
            reached.add(name)
            waiting += [called for called in functions[name].calls if called in functions]
    return reached


def _functions(text: str, sources: frozenset[str]) -> Iterator[tuple[str, _Code]]:
    files = {found[1]: found[3] for line in text.splitlines() if (found := _FILE.match(line))}
    code, line, guarded = _Code(), "", False
    addresses: list[tuple[str, bool]] = []
    for row in text.splitlines():
        if (found := _FUNCTION.match(row)) and not row.startswith(("_ZTV", "_ZTI")):
            code, addresses = _Code(), []
            guarded = found[1] == "main"
            yield found[1], code
        elif found := _LINE.match(row):
            file = files.get(found[1], "")
            line = f"{file}:{found[2]}" if file in sources else ""
        elif found := _ADDRESS.match(row):
            addresses.append((found[1], _STATUS in row))
        elif found := _CALL.match(row):
            called = found[1]
            if access := _ACCESS.match(called):
                if addresses and addresses[-1][0] != _REGISTERS and line:
                    write, volatile = access[2] == "write", access[1] is not None
                    code.accesses.append(_Access(addresses[-1][0], write, volatile, guarded, line))
                elif addresses and addresses[-1][1] and access[2] == "write":
                    guarded = False
            else:
                code.calls.add(called)
                if _ATTACH in called:
                    code.attached |= {name for name, _ in addresses[-2:]}
                guarded = called in _OFF or (guarded and called not in _ON)
            addresses = []
