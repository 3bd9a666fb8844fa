"""Which gate a name or a comment speaks of: the side of the leg, and which leg."""

import re
from dataclasses import dataclass

HIGH, LOW = "high", "low"
LEGS = ("ABC", "UVW", "XYZ", "123")
"""Letters by which people call the three legs, each in order."""

_SIDES = {
    **dict.fromkeys(("H", "HI", "HIGH", "HIGHS", "HS", "TOP", "UPPER", "HIN", "INH", "HIGHSIDE"), HIGH),
    **dict.fromkeys(("L", "LO", "LOW", "LOWS", "LS", "BOT", "BOTTOM", "LOWER", "LIN", "INL", "LOWSIDE"), LOW),
}
_LEVELS = ("HIGH", "LOW")
"""Levels of a pin in sketches."""

# fmt: off
_OTHER = frozenset((
    "US", "MS", "DUTY", "BEMF", "EMF", "SENSE", "ADC", "MUX", "PULSE", "TIME", "THROTTLE", "STICK", "LED",
    "RPM", "COUNT", "LIMIT", "VOLT", "MV", "TEMP", "BYTE", "MAX", "MIN", "THRESHOLD", "LEVEL", "PORT", "DDR",
))
# fmt: on
"""Words of names that are no gate's."""

_FUSED = re.compile(
    r"(?:(?P<leg>[ABCUVWXYZ123])(?P<side>HIGH|LOW|HI|LO|HS|LS|H|L)"
    r"|(?P<side2>HIGH|LOW|HI|LO|HIN|LIN|INH|INL|HS|LS|TOP|BOT|H|L)(?P<leg2>[ABCUVWXYZ123]))"
)
_WORDS = re.compile(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+|\d+")

_SPOKEN = re.compile(
    r"\b(?:phase[\s_-]*)?(?P<leg>[ABCUVW])[\s_-]*(?P<side>high|low|hi|lo|h|l)\b"
    r"|\b(?P<side2>high|low|hi|lo|h|l)(?:[\s_-]*side)?(?:\s+(?:fet|mosfet|gate|switch|of|phase|leg))*"
    r"[\s_-]*(?P<leg2>[ABCUVW])\b",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class Gate:
    """Side `HIGH` or `LOW`; leg 0 to 2, -1 where the name speaks of all; `letters` of `LEGS`, "" for all."""

    side: str
    leg: int = -1
    letters: str = ""


def gate_of(name: str) -> Gate | None:
    """The gate a name of the source speaks of: AH, U_HI, HIGH_A, pinLowW; None if none."""
    words = [word.upper() for part in name.split("_") for word in _WORDS.findall(part)]
    if not words or _OTHER & set(words) or name in _LEVELS:
        return None
    sides = [word for word in words if word in _SIDES]
    letters = [word for word in words if len(word) == 1 and _letters_of(word)]
    fused = [found for word in words if word not in _SIDES and (found := _FUSED.fullmatch(word))]
    if len(sides) == 1 and len(letters) == 1:
        return _gate(sides[0], letters[0])
    if not sides and len(fused) == 1:
        return _gate(fused[0]["side"] or fused[0]["side2"], fused[0]["leg"] or fused[0]["leg2"])
    if len(sides) == 1 and not letters and not fused:
        return Gate(_SIDES[sides[0]])
    return None


def spoken_of(comment: str) -> list[Gate]:
    """The gates that a line of a comment speaks of, in its order."""
    return [
        _gate(found["side"] or found["side2"], found["leg"] or found["leg2"])
        for found in _SPOKEN.finditer(comment)
    ]


def _gate(side: str, leg: str) -> Gate:
    letters = _letters_of(leg.upper())
    return Gate(_SIDES[side.upper()], letters.index(leg.upper()), letters)


def _letters_of(letter: str) -> str:
    return next((letters for letters in LEGS if letter in letters), "")
