"""Races, judged from what each instruction did to each variable, whichever way the handlers happened to fall.

An access that takes the part several instructions is torn by a handler that could run in its midst and
writes the same bytes (a write also by one that reads them). A read and a write back in one statement lose
what such a handler writes between them. And the compiler may keep a variable in a register, across the
handler, unless it is volatile. Code that runs with the handler's interrupt off races with nothing.

Shown are lines that were run; a read and a write back that stand in different statements are not seen as
one update. The rule is that of lock sets (Savage et al., "Eraser: a dynamic data race detector for
multithreaded programs", ACM TOCS 15(4), 1997), with the interrupts that are off as the locks held.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from dryspin.faults.fault import LOST_UPDATE, NOT_VOLATILE, TORN_READ, TORN_WRITE, Fault, Place
from dryspin.faults.statements import Statements
from dryspin.faults.variables import Variable, Variables

HANDLERS = 0x7FFF_FFFF
"""Bits of `by` that are handlers."""


@dataclass(frozen=True, slots=True)
class Access:
    """One instruction at one variable or register: see core_access in core.h. `place`: line and function."""

    pc: int
    at: int
    bytes: int
    write: bool
    volatile: bool
    stray: bool
    register: bool
    undivided: bool
    by: int
    under: int
    cycle: int
    place: Place

    def meets(self, other: "Access") -> bool:
        """Whether the two have a byte in common."""
        return self.at < other.at + other.bytes and other.at < self.at + self.bytes


def accesses_of(
    rows: Iterable[np.ndarray[tuple[int], np.dtype[np.void]]],
    enables: Sequence[int],
    place_of: Callable[[int], Place],
) -> list[Access]:
    """Rows of several runs of one image as one list, in a fixed order; those of the firmware's own lines.

    Functions that sketches call have no line of the firmware. enables: for each handler in vector order,
    the interrupts that its code turns on: they, too, come between where it does.
    """
    merged: dict[tuple[int, int, int], list[int]] = {}
    for part in rows:
        for row in part:
            key = int(row["pc"]), int(row["at"]), int(row["kind"])
            known = merged.setdefault(key, [int(row["bytes"]), 0, 0, int(row["cycle"])])
            known[1] |= int(row["by"])
            known[2] |= int(row["under"])
            known[3] = min(known[3], int(row["cycle"]))
    places = {pc: place_of(pc) for pc, _, _ in merged}
    return [
        Access(
            pc,
            at,
            size,
            bool(kind & 1),
            bool(kind & 2),
            bool(kind & 4),
            bool(kind & 8),
            bool(kind & 16),
            by,
            _closed(under, enables),
            cycle,
            places[pc],
        )
        for (pc, at, kind), (size, by, under, cycle) in sorted(merged.items())
        if places[pc].line
    ]


def races(
    accesses: Sequence[Access], variables: Variables, statements: Statements, atomic_bytes: int
) -> list[Fault]:
    """Every race of accesses that are inside variables; `atomic_bytes`: what the part moves in one go.

    Either side is placed where its statement names the variable.
    """
    by_variable: dict[int, list[Access]] = defaultdict(list)
    for access in accesses:
        if not (access.stray or access.register) and (variable := variables.holding(access.at, access.bytes)):
            name = variable.name.rpartition(":")[2]
            by_variable[variable.at].append(replace(access, place=statements.naming(access.place, name)))
    found: dict[tuple[str, str, Place], Fault] = {}
    for variable in variables:
        for fault in _of_variable(variable, by_variable.get(variable.at, []), statements, atomic_bytes):
            found.setdefault((fault.kind, fault.variable, fault.place), fault)
    updates = [fault for fault in found.values() if fault.kind == LOST_UPDATE]

    def told(fault: Fault) -> bool:
        """A lost update of a wide variable is torn as well: one remedy, one finding."""
        return fault.kind in (TORN_READ, TORN_WRITE) and any(
            update.variable == fault.variable and statements.one(update.place, fault.place)
            for update in updates
        )

    kept = [fault for fault in found.values() if not told(fault)]
    return sorted(kept, key=lambda f: (f.place.line, f.kind, f.variable))


def _of_variable(
    variable: Variable, accesses: Sequence[Access], statements: Statements, atomic_bytes: int
) -> Iterator[Fault]:
    handled = [access for access in accesses if access.by & HANDLERS]
    told: set[str] = set()
    for access in accesses:
        if not access.under:
            continue
        between = [other for other in handled if other.by & access.under and other.meets(access)]
        writes = [other for other in between if other.write]
        path = _path(variable, access)
        wide = _target_bytes(variable, access) > atomic_bytes
        if wide and access.write and between:
            yield _fault(TORN_WRITE, path, access, between[0], _bytes_text(variable, access))
        if wide and not access.write and writes:
            yield _fault(TORN_READ, path, access, writes[0], _bytes_text(variable, access))
        if writes and access.write and _reads_before(variable, access, accesses, statements):
            text = "is read and written back; what the handler writes between is gone"
            yield _fault(LOST_UPDATE, path, access, writes[0], text)
        against = between if access.write else writes
        if against and not access.volatile and path not in told:
            told.add(path)
            text = "is shared with the handler and not volatile: the compiler may keep an old value"
            yield _fault(NOT_VOLATILE, path, access, against[0], text)


def _reads_before(
    variable: Variable, write: Access, accesses: Sequence[Access], statements: Statements
) -> bool:
    """Whether this write puts back what the same statement has read."""
    if any(leaf.bits for leaf in variable.under(write.at, write.bytes)):
        return True
    return any(
        not other.write and other.under and other.meets(write) and statements.one(other.place, write.place)
        for other in accesses
    )


def _fault(kind: str, path: str, access: Access, other: Access, text: str) -> Fault:
    between = other.by & access.under & HANDLERS
    handler = (between & -between).bit_length() - 1
    return Fault(kind, path, access.place, text, against=other.place, pc=access.pc, handler=handler)


def _path(variable: Variable, access: Access) -> str:
    leaves = variable.under(access.at, access.bytes)
    paths = {leaf.path for leaf in leaves}
    return paths.pop() if len(paths) == 1 else variable.name


def _target_bytes(variable: Variable, access: Access) -> int:
    """Bytes that the access moves on the part; bits of one byte are one."""
    leaves = variable.under(access.at, access.bytes)
    whole = [
        leaf for leaf in leaves if access.at <= leaf.at and leaf.at + leaf.bytes <= access.at + access.bytes
    ]
    if len(whole) < len(leaves) or not leaves or any(leaf.bits for leaf in leaves):
        return access.bytes
    return sum(leaf.target_bytes for leaf in whole)


def _bytes_text(variable: Variable, access: Access) -> str:
    return f"of {_target_bytes(variable, access)} bytes, one after the other; the handler may come between"


def _closed(under: int, enables: Sequence[int]) -> int:
    """With the interrupts that the handlers of `under` turn on in their turn."""
    while True:
        wider = under
        for k, more in enumerate(enables):
            if under >> k & 1:
                wider |= more
        if wider == under:
            return under
        under = wider
