"""What `[pins]` must keep within itself and with the bridge."""

from collections.abc import Iterator

from dryspin.drive.model import Drive
from dryspin.drive.problem import Check, Problem


def pins_are_wired_once(drive: Drive) -> Iterator[Problem]:
    """A pin leads to one thing."""
    taken: dict[str, str] = {}
    for pin, key, what in drive.pins.uses() if drive.pins else ():
        if pin in taken:
            yield Problem("pins", key, f": {pin} is {what} and {taken[pin]} at once. Wire it to one of them.")
            return
        taken[pin] = what


def pins_need_one_sided_chopping(drive: Drive) -> Iterator[Problem]:
    """At register level every FET has an input of its own."""
    if drive.pins is not None and drive.bridge.chopping != "high side":
        yield Problem(
            "bridge",
            "chopping",
            f' = "{drive.bridge.chopping}" does not go with [pins], where each FET has a pin of its own. '
            'Write "high side".',
        )


PIN_CHECKS: tuple[Check, ...] = (pins_are_wired_once, pins_need_one_sided_chopping)
