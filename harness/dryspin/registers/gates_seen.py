"""Which pins of a source turn on which gates: by its names, its lists, what it writes; comments only hint."""

import re
from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass

from dryspin.registers.constants import Constants
from dryspin.registers.gate_names import HIGH, LOW, Gate, gate_of, spoken_of
from dryspin.registers.steps_seen import pairs_seen
from dryspin.registers.written import Written

_PIN = re.compile(r"\b(?:P([BCD])([0-7])|(?:pin|D)\s*#?(\d{1,2}))\b", re.IGNORECASE)
_COMMENT = re.compile(r"//([^\n]*)|/\*(.*?)\*/", re.DOTALL)

BY_STEPS = "by the table of steps, beside the other side"
BY_NAMES, BY_LIST, BY_MASK = (
    "by its names in the source",
    "by a list of the source",
    "by a mask of the source",
)
BY_COMMENT = "by a comment of the source only"


@dataclass(frozen=True)
class Side:
    """The three pins of one side in the order of the legs; `pins` is empty where nothing tells.

    how: what told. sure: names or lists of the source tell side and leg; else somebody must look.
    """

    pins: tuple[str, ...] = ()
    how: str = ""
    sure: bool = False


@dataclass(frozen=True)
class Gates:
    """Both sides, and what a reader should look at."""

    high: Side = Side()
    low: Side = Side()
    notes: tuple[str, ...] = ()


def gates_seen(text: str, constants: Constants, written: Written) -> Gates:
    """text: with its comments."""
    hints = _hints(text, written)
    sides: dict[str, Side] = {}
    notes = []
    for side in (HIGH, LOW):
        found = _by_names(side, constants, written) or _by_list(side, constants, written)
        hint = _complete(hints.get(side, {}))
        if found is None:
            found = _by_mask(side, constants, written) or (Side(hint, BY_COMMENT) if hint else Side())
        elif found.sure and hint and hint != found.pins:
            notes.append(
                f"a comment says {side} = {', '.join(hint)}, the code {', '.join(found.pins)}: one is old"
            )
        sides[side] = found
    pairs = pairs_seen(constants, written)
    if pairs is not None:
        for side, other in ((HIGH, LOW), (LOW, HIGH)):
            if not sides[side].pins and (beside := pairs.beside(sides[other].pins)):
                sides[side] = Side(beside, BY_STEPS, sides[other].sure)
        if not sides[HIGH].pins and not sides[LOW].pins:
            notes.append(
                f"the table of steps pairs {', '.join(pairs.one)} with {', '.join(pairs.other)}, leg by leg; "
                "which three are high it does not show"
            )
    both = set(sides[HIGH].pins) & set(sides[LOW].pins)
    if both:
        notes.append(f"{', '.join(sorted(both))} would be high and low at once, so neither side is taken")
        return Gates(notes=tuple(notes))
    return Gates(sides[HIGH], sides[LOW], tuple(notes))


def _by_names(side: str, constants: Constants, written: Written) -> Side | None:
    """Names of a side and a leg, one pin for each leg, all legs by letters of one row."""
    rows: dict[str, dict[int, set[str]]] = {}
    for name in [*constants.texts, *written.switches]:
        gate = gate_of(name)
        if gate is not None and gate.side == side and gate.leg >= 0:
            pins = written.pins_of(name)
            if len(pins) == 1:
                rows.setdefault(gate.letters, {}).setdefault(gate.leg, set()).update(pins)
    whole = [row for legs in rows.values() if (row := _complete(legs))]
    return Side(whole[0], BY_NAMES, sure=True) if len(whole) == 1 else None


def _by_list(side: str, constants: Constants, written: Written) -> Side | None:
    """A list of three, named after the side: one entry a leg."""
    found = []
    for name, entries in constants.lists.items():
        gate = gate_of(name)
        if gate is not None and gate.side == side and gate.leg < 0 and len(entries) == 3:
            each = [written.pins_of_entry(name, entry) for entry in entries]
            if legs := _complete(dict(enumerate(each))):
                found.append(legs)
    return Side(found[0], BY_LIST, sure=True) if len(set(found)) == 1 else None


def _by_mask(side: str, constants: Constants, written: Written) -> Side | None:
    """Masks named after the side hold three pins together; which is which leg they do not say."""
    pins: set[str] = set()
    for name in constants.texts:
        gate = gate_of(name)
        # A letter behind the side may be the port's: HIGH_B. A number alone may be a bit's.
        if gate is not None and gate.side == side and (gate.leg < 0 or constants.pins_in(name)):
            pins |= written.pins_of(name)
    return Side(tuple(sorted(pins)), BY_MASK) if len(pins) == 3 else None


def _hints(text: str, written: Written) -> dict[str, dict[int, set[str]]]:
    """By side and leg, the pins that comments name beside it, of those that the source could drive."""
    hints: dict[str, dict[int, set[str]]] = {}
    lines = [line for found in _COMMENT.finditer(text) for line in (found[1] or found[2] or "").splitlines()]
    for line in lines:
        gates: Sequence[Gate] = spoken_of(line)
        pins = [_spoken_pin(found, written) for found in _PIN.finditer(line)]
        if len(gates) == len(pins):
            for gate, pin in zip(gates, pins, strict=True):
                if pin in written.outputs:
                    hints.setdefault(gate.side, {}).setdefault(gate.leg, set()).add(pin)
    return hints


def _spoken_pin(found: re.Match[str], written: Written) -> str:
    return f"P{found[1].upper()}{found[2]}" if found[1] else written.board(found[3])


def _complete(legs: Mapping[int, Set[str]]) -> tuple[str, ...]:
    """One pin for each of three legs, all different; else nothing."""
    if sorted(legs) != [0, 1, 2] or any(len(pins) != 1 for pins in legs.values()):
        return ()
    pins = tuple(next(iter(legs[leg])) for leg in range(3))
    return pins if len(set(pins)) == 3 else ()
