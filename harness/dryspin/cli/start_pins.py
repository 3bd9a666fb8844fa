"""Which pins `dryspin new` writes: those that were seen, else places to fill in that clash with nothing."""

from collections.abc import Iterable
from dataclasses import dataclass

from dryspin.drive.pins import CONVERTER_PINS, NEUTRAL_PIN, PINS
from dryspin.registers.gates_seen import Side
from dryspin.registers.survey import Survey

TO_DO = "# TO DO: not sure"

NOT_FOR_GATES = ("PB6", "PB7", "PC6", NEUTRAL_PIN)
"""Crystal, reset, and the comparator's plus input."""

SPARE = ("PD5", "PB3", "PD3", "PD4", "PB1", "PB2", "PD7", "PB4", "PB5", "PD1", "PD0")
"""Taken where the source names too few: compare outputs first."""


@dataclass(frozen=True)
class StartPins:
    """Pins of [pins], the lines that say what is not sure of them, and the keys that are still unknown."""

    high: tuple[str, ...]
    low: tuple[str, ...]
    phases: tuple[str, ...]
    throttle: str
    doubts: dict[str, str]
    said: dict[str, str]

    @property
    def unknown(self) -> list[str]:
        """The keys whose values are guesses."""
        return [f"pins.{key}" for key in ("high", "low", "phases", "throttle") if key in self.doubts]


def start_pins(seen: Survey) -> StartPins:
    """Seen sides first; what is left open is filled from the source's other outputs."""
    doubts: dict[str, str] = {}
    said: dict[str, str] = {}
    sides = {"high": _usable(seen.gates.high), "low": _usable(seen.gates.low)}
    taken = {pin for side in sides.values() for pin in side.pins}
    candidates = [pin for pin in seen.outputs if pin not in taken]
    for key, side in sides.items():
        if side.sure:
            said[key] = side.how
        elif side.pins:
            doubts[key] = f"{TO_DO} which is which leg, or at all: {side.how}."
            said[key] = side.how
        else:
            among = f" Candidates, which the source sets: {', '.join(candidates)}." if candidates else ""
            doubts[key] = f"{TO_DO} of {key}: the source does not show it.{among}"
            said[key] = "places to fill in, no finding"
    free = [pin for pin in (*candidates, *SPARE) if pin not in (*taken, *NOT_FOR_GATES, seen.stick.pin)]
    filled = {}
    for key, side in sides.items():
        filled[key] = side.pins or tuple(dict.fromkeys(free))[:3]
        free = [pin for pin in free if pin not in filled[key]]
    gates = (*filled["high"], *filled["low"])
    phases, said["phases"] = _phases(seen, gates, doubts)
    throttle = seen.stick.pin if seen.stick.pin not in (*gates, *phases, NEUTRAL_PIN) else ""
    said["throttle"] = "seen in the source"
    if not throttle:
        said["throttle"] = "none: no firmware listens so"
        doubts["throttle"] = f"{TO_DO} of the throttle: the source does not show its pin."
    return StartPins(filled["high"], filled["low"], phases, throttle, doubts, said)


def _phases(seen: Survey, gates: Iterable[str], doubts: dict[str, str]) -> tuple[tuple[str, ...], str]:
    if len(seen.phases) == 3 and not set(seen.phases) & set(gates):
        if seen.phases_sure:
            return seen.phases, "by its names in the source"
        doubts["phases"] = f"{TO_DO} which is which leg: the source selects these three, and no name tells."
        return seen.phases, "the channels that the source selects"
    doubts["phases"] = f"{TO_DO} of the phases: the source does not show them."
    return tuple(pin for pin in CONVERTER_PINS if pin not in gates)[:3], "places to fill in, no finding"


def _usable(side: Side) -> Side:
    """Without pins that no gate can hang on."""
    return side if all(pin in PINS and pin not in NOT_FOR_GATES for pin in side.pins) else Side()
