"""What a table of six steps tells of the gates: which are on together, and so which belong to one leg."""

from dataclasses import dataclass

from dryspin.registers.constants import Constants
from dryspin.registers.written import Written


@dataclass(frozen=True, slots=True)
class Pairs:
    """Three pins of either side; the two of a leg, which are never on together, stand at the same place."""

    one: tuple[str, ...]
    other: tuple[str, ...]

    def beside(self, pins: tuple[str, ...]) -> tuple[str, ...]:
        """Of one side's pins, in any order, those of the other side; empty where `pins` are no side."""
        for mine, theirs in ((self.one, self.other), (self.other, self.one)):
            if sorted(mine) == sorted(pins):
                return tuple(theirs[mine.index(pin)] for pin in pins)
        return ()


def pairs_seen(constants: Constants, written: Written) -> Pairs | None:
    """From a list of six masks of two pins, each pin in two of them; None where no list is like that."""
    for name, entries in constants.lists.items():
        masks = [written.pins_of_entry(name, entry) for entry in entries]
        if len(masks) == 6 and all(len(mask) == 2 for mask in masks) and (found := _pairs(masks)):
            return found
    return None


def _pairs(masks: list[frozenset[str]]) -> Pairs | None:
    """The six pins in a ring, each beside the two it is on with: every other one is of the same side."""
    pins = sorted(frozenset().union(*masks))
    beside = {pin: sorted(set().union(*(mask for mask in masks if pin in mask)) - {pin}) for pin in pins}
    if len(pins) != 6 or any(len(near) != 2 for near in beside.values()):
        return None
    ring = [pins[0], beside[pins[0]][0]]
    while len(ring) < 6:
        onward = [pin for pin in beside[ring[-1]] if pin not in ring]
        if not onward:
            return None
        ring.append(onward[0])
    # Opposite in the ring: never on together.
    one = tuple(sorted(ring[::2]))
    return Pairs(one, tuple(ring[(ring.index(pin) + 3) % 6] for pin in one))
