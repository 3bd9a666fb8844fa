"""Which pins of a source sense which phase: by names and by what it writes to the multiplexer."""

import re

from dryspin.registers.constants import Constants

_SENSE = re.compile(r"bemf|emf|sense|sns|phase|comp|mux|adc|zc|cross|fb", re.IGNORECASE)
_WORDS = re.compile(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+|\d+")
_LETTERS = ("ABC", "UVW")


def phases_seen(text: str, constants: Constants) -> tuple[tuple[str, ...], bool]:
    """Three pins, and whether names tell which leg each belongs to; none where three cannot be made out."""
    legs: dict[str, dict[int, set[str]]] = {}
    for name, value in constants.texts.items():
        words = [word.upper() for part in name.split("_") for word in _WORDS.findall(part)]
        letters = [
            (row, row.index(word)) for word in words for row in _LETTERS if len(word) == 1 and word in row
        ]
        if len(letters) == 1 and _SENSE.search(name) and (pin := _pin(constants, value)):
            legs.setdefault(letters[0][0], {}).setdefault(letters[0][1], set()).add(pin)
    for pins in legs.values():
        if sorted(pins) == [0, 1, 2] and all(len(each) == 1 for each in pins.values()):
            named = tuple(next(iter(pins[leg])) for leg in range(3))
            if len(set(named)) == 3:
                return named, True
    channels: set[int] = set()
    for value in re.findall(r"\bADMUX\s*=(?!=)\s*([^;]+);", text):
        number = constants.value(value)
        if number is not None:
            channels.add(number & 15)
        for name in re.findall(r"\w+", value):
            entries = [constants.value(entry) for entry in constants.lists.get(name, ())]
            if len(entries) in (3, 6):
                channels |= {entry & 15 for entry in entries if entry is not None}
    if len(channels) == 3 and max(channels) <= 5:
        return tuple(f"PC{channel}" for channel in sorted(channels)), False
    return (), False


def _pin(constants: Constants, value: str) -> str:
    named = [pin for pin in constants.pins_in(value) if pin[1] == "C"]
    if len(named) == 1:
        return named[0]
    number = constants.value(value)
    if number is None:
        return ""
    return f"PC{number}" if number <= 5 else f"PC{number - 14}" if 14 <= number <= 19 else ""
