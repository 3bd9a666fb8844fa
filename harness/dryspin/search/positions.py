"""Stick positions: ranges that a calibration may teach, and where the stick tells two of them apart."""

from dataclasses import dataclass

from dryspin.drive import Calibration, Drive
from dryspin.search.draws import Draws

SPANS = 4
"""Distances of full stick from neutral to choose from; no two give one position the same duty."""

SHIFTS_US = (0.0, -10.0, 10.0)
"""Of the old neutral from the declared one: within every dead band."""

SHIFT_BANDS = 1.5
"""The new neutral lies so many dead bands beside the old: in the middle the stick arms under either."""

INNERS = (0.5, 0.72, 0.9)
"""Shares of the stick's way, by the range that asks for more, at which old and new are told apart.

A neutral that is not the range's own shows most near neutral, a full that is not most near full.
"""

LEAST_SHARE = 0.15
"""Below it a stick may be inside a drive's hysteresis."""

TELLING = 0.1
"""Least difference of the shares that old and new make of one position: twice what duty breathes by."""


@dataclass(frozen=True)
class Positions:
    """Where the stick is held: high, neutral, low, in us."""

    high: float
    neutral: float
    low: float

    def toward(self, drive: Drive, way: int) -> float:
        """Full forward (`way` 0) or reverse (1) of the range that these positions teach."""
        upwards = drive.throttle.forward_full_us > drive.throttle.neutral_us
        return self.high if upwards == (way == 0) else self.low


@dataclass(frozen=True)
class Telling:
    """A stick position that shows which of two ranges is in force.

    told_us    where the stick is held after the cut, one way or both
    seen_us    where it is held before, under the old range: what either range makes of `told_us`
    """

    told_us: tuple[float, ...]
    seen_us: tuple[float, float]
    apart: float

    def along_with(self, other: "Telling", neutral_us: float) -> "Telling":
        """The other way, too: a mix may be the old range one way and the new one the other.

        Both are seen one way, as far as either needs; forward and reverse are alike.
        """
        way = 1.0 if self.seen_us[1] > neutral_us else -1.0
        away_us = [abs(us - neutral_us) for us in (*self.seen_us, *other.seen_us)]
        seen_us = neutral_us + way * min(away_us), neutral_us + way * max(away_us)
        return Telling(self.told_us + other.told_us, seen_us, min(self.apart, other.apart))


def ranges(
    draws: Draws, drive: Drive, rite: Calibration, taught: int, way: int, *, one_way: bool
) -> tuple[Positions, Positions, Telling]:
    """Old and new range, and where they are told apart: other full, other neutral, as far as one tells."""
    spans_us = spans_of(drive, rite)
    shift_us = draws.pick("shift", SHIFTS_US)
    # Chosen in any case: what is chosen after it keeps its place when a story is told anew.
    both = draws.index("both ways", 2) == 1 and not one_way
    old = declared_positions(drive)
    if taught:
        old = positions_of(rite, spans_us[(taught - 1) % SPANS], drive.throttle.neutral_us + shift_us)
    span_us = old.high - old.neutral
    # The one that differs most is the plainest; the nearest is the old one, or like it.
    others = sorted(spans_us, key=lambda other_us: -abs(other_us - span_us))[: SPANS - 1]
    new_us = draws.pick("new span", others)
    inner = draws.pick("inner", INNERS)
    beside_us = SHIFT_BANDS * drive.throttle.dead_band_us
    options = []
    for by_us in (beside_us, -beside_us, 0.0):
        new = positions_of(rite, new_us, old.neutral + by_us)
        telling = telling_of(drive, old, new, way, inner)
        if both:
            telling = telling.along_with(telling_of(drive, old, new, 1 - way, inner), old.neutral)
        options.append((new, telling))
    told = [option for option in options if option[1].apart >= TELLING]
    told = told or [max(options, key=lambda option: option[1].apart)]
    new, telling = told[draws.index("new shift", len(options)) % len(told)]
    return old, new, telling


def spans_of(drive: Drive, rite: Calibration) -> tuple[float, ...]:
    """Distances of full stick, the widest first: sane, and high enough to ask for calibration."""
    throttle = drive.throttle
    least_us = max(rite.span_min_us, rite.enter_us - throttle.neutral_us) + 60.0
    room_us = min(throttle.valid_high_us - throttle.neutral_us, throttle.neutral_us - throttle.valid_low_us)
    most_us = max(min(rite.span_max_us, room_us) - 200.0, least_us + 80.0)
    step_us = (most_us - least_us) / (SPANS - 1)
    return tuple(round(most_us - k * step_us) for k in range(SPANS))


def positions_of(rite: Calibration, span_us: float, neutral_us: float) -> Positions:
    """The same span on either side of neutral, us; high at least as far as it takes to be let in."""
    return Positions(max(neutral_us + span_us, rite.enter_us + 20.0), neutral_us, neutral_us - span_us)


def declared_positions(drive: Drive) -> Positions:
    """The range in force where nothing was ever learnt."""
    throttle = drive.throttle
    full_us = throttle.forward_full_us, throttle.reverse_full_us
    return Positions(max(full_us), throttle.neutral_us, min(full_us))


def width_at(drive: Drive, neutral_us: float, full_us: float, share: float) -> float:
    """Pulse width at a share of the way from the edge of the dead band to full."""
    band_us = drive.throttle.dead_band_us if full_us > neutral_us else -drive.throttle.dead_band_us
    return float(round(neutral_us + band_us + share * (full_us - neutral_us - band_us)))


def share_at(drive: Drive, neutral_us: float, full_us: float, width_us: float) -> float:
    """The inverse of `width_at`."""
    band_us = drive.throttle.dead_band_us if full_us > neutral_us else -drive.throttle.dead_band_us
    return (width_us - neutral_us - band_us) / (full_us - neutral_us - band_us)


def telling_of(drive: Drive, old: Positions, new: Positions, way: int, inner: float) -> Telling:
    """Where the range that asks for more asks for the share `inner`, and what is to be seen before."""

    def shares(width_us: float) -> list[float]:
        return [share_at(drive, at.neutral, at.toward(drive, way), width_us) for at in (old, new)]

    widths_us = [width_at(drive, at.neutral, at.toward(drive, way), inner) for at in (old, new)]
    told_us = min(widths_us, key=lambda width_us: max(shares(width_us)))
    low, high = sorted(shares(told_us))
    apart = high - low if low > LEAST_SHARE else 0.0
    if old.toward(drive, way) == old.high:
        # Where the stick has to go next does as well, if it is far enough.
        high = max(high, shares(new.high)[0])
    seen_us = [width_at(drive, old.neutral, old.toward(drive, way), share) for share in (low, high)]
    return Telling((told_us,), (seen_us[0], seen_us[1]), apart)
