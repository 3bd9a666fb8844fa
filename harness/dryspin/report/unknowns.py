"""What is still a guess in drive.toml, and which of the guesses to replace first."""

from collections.abc import Sequence
from typing import Any

from dryspin.drive import Drive
from dryspin.report.numbers import margin
from dryspin.search.effect import Effect

NOTHING = 0.05
"""A margin that moves by less is not moved."""

WIRING = ("pins.high", "pins.low", "pins.phases", "pins.throttle")
"""Keys on which all else rests."""


def unknown_lines(drive: Drive, effects: Sequence[Effect]) -> list[str]:
    """The list of guesses, then the one that moves a claim most, and the next; nothing where none is left."""
    if not drive.unknown:
        return []
    lines = [f"still unknown in drive.toml, guesses all: {', '.join(drive.unknown)}"]
    if wiring := [key for key in WIRING if key in drive.unknown]:
        lines.append(
            f"settle first: {', '.join(wiring)}. While the wiring is a guess, no verdict speaks of your "
            "board; drive.toml has a TO DO beside each"
        )
    moving = [effect for effect in effects if effect.swing >= NOTHING]
    if moving:
        lines.append(f"measure first: {_effect(moving[0])}")
        lines += [f"then: {_effect(effect)}" for effect in moving[1:3]]
    elif any(effect.claim for effect in effects):
        lines.append(
            f"within their ranges none of {', '.join(effect.key for effect in effects)} moves the margin "
            "of a declared claim by 0.05"
        )
    return lines


def unknown_json(effects: Sequence[Effect]) -> list[dict[str, Any]]:
    """One entry for each guess that was tried at both ends of its range."""
    return [
        {
            "key": e.key,
            "claim": e.claim or None,
            "margin_at_low": e.low,
            "margin_at_high": e.high,
            "swing": e.swing,
        }
        for e in effects
    ]


def _effect(effect: Effect) -> str:
    return (
        f"{effect.key}, which moves {effect.claim} from margin {margin(effect.low)} at its low end "
        f"to {margin(effect.high)} at its high end"
    )
