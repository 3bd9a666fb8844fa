"""Races at registers of the part, by the same rule as those of variables.

A register that is read and written back in one statement loses what a handler writes to it between, unless it
is one instruction that sets or clears a single bit (SBI, CBI: instruction set manual; registers below 0x40).
And the 16-bit registers of timer 1 share one temporary byte: a handler that uses it between the two halves of
an access leaves its own byte there (ATmega48/88/168 data sheet, "Accessing 16-bit Registers": interrupts are
to be off).
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace

from dryspin.faults.fault import LOST_UPDATE, TORN_READ, TORN_WRITE, Fault
from dryspin.faults.races import HANDLERS, Access
from dryspin.faults.statements import Statements
from dryspin.registers import register_names

_KEEP_NOTHING = ("PIN", "TIFR", "PCIFR", "EIFR")
"""Beginnings of names: ones written there turn over or clear, and zeros do nothing."""

_READ_DIRECTLY = ("OCR1A", "OCR1B")
"""Data sheet: "Reading the OCR1A/B 16-bit registers does not involve using the Temporary Register"."""


def register_races(accesses: Sequence[Access], statements: Statements) -> list[Fault]:
    """Every race at registers, each once, in a fixed order. `variable` of a fault is the register's name."""
    names = register_names()
    seen = []
    for access in accesses:
        if access.register and (name := names.get((access.at, access.bytes), "")):
            seen.append((name, replace(access, place=statements.naming(access.place, name))))
    found: dict[tuple[str, str, str], Fault] = {}
    for fault in (*_lost(seen, statements), *_torn(seen)):
        found.setdefault((fault.kind, fault.variable, fault.place.line), fault)
    return sorted(found.values(), key=lambda fault: (fault.place.line, fault.kind, fault.variable))


def _lost(seen: Sequence[tuple[str, Access]], statements: Statements) -> Iterator[Fault]:
    for name, access in seen:
        if not access.write or access.undivided or name.startswith(_KEEP_NOTHING):
            continue
        same = [other for other_name, other in seen if other_name == name]
        between = [other for other in same if other.write and other.by & access.under & HANDLERS]
        if between and any(not other.write and statements.one(other.place, access.place) for other in same):
            text = "is read and written back; what the handler writes between is gone"
            yield _fault(LOST_UPDATE, name, access, between[0], text)


def _torn(seen: Sequence[tuple[str, Access]]) -> Iterator[Fault]:
    shared = [(name, access) for name, access in seen if _by_way_of_the_shared_byte(name, access)]
    for name, access in shared:
        between = [other for _, other in shared if other.by & access.under & HANDLERS]
        if between:
            text = "goes through the byte that timer 1's 16-bit registers share; the handler leaves its own"
            yield _fault(TORN_WRITE if access.write else TORN_READ, name, access, between[0], text)


def _by_way_of_the_shared_byte(name: str, access: Access) -> bool:
    return access.bytes == 2 and "1" in name and (access.write or name not in _READ_DIRECTLY)


def _fault(kind: str, name: str, access: Access, other: Access, text: str) -> Fault:
    between = other.by & access.under & HANDLERS
    return Fault(kind, name, access.place, text, other.place, handler=(between & -between).bit_length() - 1)
