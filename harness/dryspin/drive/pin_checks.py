"""What `[pins]` must keep within itself and with the bridge."""

from collections.abc import Iterator

from dryspin.drive.model import Drive
from dryspin.drive.problem import Check, Problem
from dryspin.drive.schema import COMPLEMENTARY, LOW_SIDE


def pins_are_wired_once(drive: Drive) -> Iterator[Problem]:
    """A pin leads to one thing."""
    taken: dict[str, str] = {}
    for pin, key, what in drive.pins.uses() if drive.pins else ():
        if pin in taken:
            yield Problem("pins", key, f": {pin} is {what} and {taken[pin]} at once. Wire it to one of them.")
            return
        taken[pin] = what


def pins_need_one_sided_chopping(drive: Drive) -> Iterator[Problem]:
    """At register level every FET has an input of its own; behind the seam a leg has one command."""
    if drive.pins is not None and drive.bridge.chopping == COMPLEMENTARY:
        yield Problem(
            "bridge",
            "chopping",
            f' = "{drive.bridge.chopping}" does not go with [pins], where each FET has a pin of its own. '
            'Write "high side" or "low side".',
        )
    if drive.pins is None and drive.bridge.chopping == LOW_SIDE:
        yield Problem(
            "bridge",
            "chopping",
            f' = "{LOW_SIDE}" needs [pins]: port_leg() chops the high FETs, whose pins are the carriers\'. '
            'Write "high side".',
        )


PIN_CHECKS: tuple[Check, ...] = (pins_are_wired_once, pins_need_one_sided_chopping)
