"""What one unknown of the drive does to the claim that it moves most."""

from dataclasses import dataclass

CLIPPED = 1.0
"""Margins beyond this are all far; how far says nothing of what to measure."""


@dataclass(frozen=True)
class Effect:
    """The claim that an unknown moves most, and its smallest margin at both ends of the unknown's range.

    `claim` is empty where no claim was judged at both ends.
    """

    key: str
    claim: str
    low: float
    high: float

    @property
    def swing(self) -> float:
        """By how much the margin differs, far ones taken as alike."""
        return abs(_clipped(self.high) - _clipped(self.low))


def _clipped(margin: float) -> float:
    return max(-CLIPPED, min(CLIPPED, margin))
