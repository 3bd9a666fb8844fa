"""A claim: one sentence that must hold in every recording, and the check that judges it."""

from collections.abc import Callable
from dataclasses import dataclass
from enum import Flag, auto

from dryspin.monitors.evidence import Evidence
from dryspin.monitors.verdict import Ruling


class Needs(Flag):
    """What a check looks at.

    PINS    FETs, throttle, reset: a logic capture has them
    ANALOG  phase currents and bus voltage: a capture with probes has them
    INSIDE  commands, marks, sense selection, the rotor's truth: only the rig has them
    """

    PINS = auto()
    ANALOG = auto()
    INSIDE = auto()


@dataclass(frozen=True, slots=True)
class Claim:
    """One claim of a family.

    `limits` are the names of the limits its check uses. `check` is called only where the recording
    has what `needs` says.
    """

    name: str
    sentence: str
    needs: Needs
    check: Callable[[Evidence], Ruling]
    limits: tuple[str, ...] = ()
