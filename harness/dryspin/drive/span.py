"""A physical number that is known only within bounds."""

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Range:
    """Bounds and nominal value of one physical number, in the unit its key names.

    `low <= nominal <= high`, all finite; anything else raises ValueError. The nominal value is
    what a scenario gets that says nothing; scenarios may vary the number inside the bounds.
    """

    low: float
    nominal: float
    high: float

    def __post_init__(self) -> None:
        if not all(math.isfinite(x) for x in (self.low, self.nominal, self.high)):
            raise ValueError(f"{self} must be finite")
        if not self.low <= self.nominal <= self.high:
            raise ValueError(f"{self} must be in the order low <= nominal <= high")

    @classmethod
    def exactly(cls, value: float) -> "Range":
        """The range of a number known exactly."""
        return cls(value, value, value)

    def __contains__(self, value: float) -> bool:
        return self.low <= value <= self.high

    def __str__(self) -> str:
        if self.low == self.high:
            return f"{self.nominal:g}"
        return f"{{low = {self.low:g}, nominal = {self.nominal:g}, high = {self.high:g}}}"

    @property
    def factors(self) -> "Range":
        """The same bounds as factors on the nominal value; exactly 1 where that is zero."""
        if self.nominal == 0.0:
            return Range.exactly(1.0)
        ends = sorted((self.low / self.nominal, self.high / self.nominal))
        return Range(ends[0], 1.0, ends[1])
