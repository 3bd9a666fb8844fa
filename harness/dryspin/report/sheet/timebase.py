"""How a scope is set: time a division, and where on its screen the moment stands."""

import math
from dataclasses import dataclass
from typing import Final

from dryspin.findings import Outcome
from dryspin.report.sheet.clock import Clock, led_from_s
from dryspin.report.sheet.placement import window_s

DIVISIONS: Final = 10
"""Divisions across a screen, common practice."""

BEFORE: Final = 3
"""Divisions before a moment at which something begins."""

BEFORE_ITS_END: Final = 8
"""Divisions before a moment at which something ends that began long ago."""

_LONG_AGO_S: Final = 1e-3

_WORDS: Final = {BEFORE: "three", BEFORE_ITS_END: "eight"}


@dataclass(frozen=True)
class Base:
    """division_s: time of a division. before: divisions before the moment, which `word` calls by its name.

    since_s: from when on a probe should have something to show.
    """

    division_s: float
    moment_s: float
    before: int
    since_s: float
    word: str = "the moment"

    @property
    def window(self) -> tuple[float, float]:
        """From and to (s) of the screen."""
        from_s = self.moment_s - self.before * self.division_s
        return from_s, from_s + DIVISIONS * self.division_s

    def text(self, trigger_s: float, run: str) -> str:
        """What to set, as a sentence without its full stop; `run`: whose moment it is."""
        return (
            f"{time_text(self.division_s)} a division, {self.delay(trigger_s)}, so that the moment "
            f"({self.moment_s:.4f} s of {run}) stands {_WORDS[self.before]} divisions from the left"
        )

    def delay(self, trigger_s: float) -> str:
        """How long after the trigger the moment comes, in words."""
        return f"the trace delayed by {time_text(max(self.moment_s - trigger_s, 0.0))} after the trigger"


def base_of(outcome: Outcome, clock: Clock | None, moment_s: float) -> Base:
    """The time base for a claim: from when its clock started, or around where something begins."""
    since_s = led_from_s(outcome, clock)
    if since_s is not None and moment_s - since_s > _LONG_AGO_S:
        # A twentieth more, so that its start is on the screen.
        division_s = one_two_five(1.05 * (moment_s - since_s) / BEFORE_ITS_END)
        return Base(division_s, moment_s, BEFORE_ITS_END, since_s)
    return Base(one_two_five(window_s(outcome) / DIVISIONS), moment_s, BEFORE, moment_s)


def one_two_five(value: float) -> float:
    """The next of 1, 2, 5 times a power of ten."""
    power = 10.0 ** math.floor(math.log10(value) + 1e-9)
    return next(step * power for step in (1.0, 2.0, 5.0, 10.0) if step * power >= value * (1.0 - 1e-9))


def time_text(value_s: float) -> str:
    """A time in the unit in which it has digits before the point."""
    for factor, unit in ((1.0, "s"), (1e3, "ms"), (1e6, "us")):
        if value_s * factor >= 1.0 or unit == "us":
            return f"{value_s * factor:.5g} {unit}"
    raise AssertionError  # the loop ends with us
