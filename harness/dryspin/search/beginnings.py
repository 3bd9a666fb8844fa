"""Beginnings that the scenarios of a search share: power-up, rite, start and run-up, gone through once.

What parts two scenarios of such a family comes late: when the stick turns round, what jams the propeller, how
the signal is lost. The rig goes on from a checkpoint there, see `rig.WarmStarts`.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

AHEAD_S = 0.002
"""A checkpoint is taken so long before two scenarios may part: the rig has planned ahead by then, 1 ms at the
most, and what is planned is settled."""

SLOTS = 12
SHARED_SLOTS: Mapping[str, int] = {"reversal": 9, "synchronism": 9, "electrical": 9, "arming": 3}
"""Of twelve scenarios that are explored, so many go on from a beginning of the covering plan, each from
another; the others begin anew. Nine rows in sequence meet every pair of ends of supply and propeller. In
arming the beginning ends where the signal is lost, and the instant of the restart before that is most of what
is searched, so that most are to have one of their own."""

DRESSING = ("sector", "rest", "supply", "load", "off nominal", "seed")
DRESSING_PARTS = ("part ", "value ")
"""Names, and how names begin, of choices that do not tell the story but count from power-on."""


@dataclass(frozen=True)
class Beginning:
    """Up to `until_s` (s) a scenario depends on no choice but those in `chosen`, by name."""

    until_s: float
    chosen: Mapping[str, int] = field(hash=False)

    def dressed(self, noted: Mapping[str, int]) -> "Beginning":
        """With those of all choices that count from power-on."""
        dressing = {
            name: value
            for name, value in noted.items()
            if name in DRESSING or name.startswith(DRESSING_PARTS)
        }
        return Beginning(self.until_s, {**self.chosen, **dressing})
