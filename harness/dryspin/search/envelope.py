"""The drive's envelope: what a scenario may vary, and how much of it a check has reached."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from dryspin.drive import Drive, Range
from dryspin.scenario import Scenario, Trace, part_ranges
from dryspin.search.draws import Draws

SECTORS = 24
"""Rest angles are covered by sectors of 15 electrical degrees: a quarter of a step of six."""

SECTOR_DEG = 360 // SECTORS

JAMMED = 10.0
"""A propeller this many times heavier than the drive is declared for is jammed."""

_INSIDE = 8
"""Values offered strictly between the ends of a range: seven eighths."""


def level(draws: Draws, name: str, span: Range) -> float:
    """A value of `span`: nominal (simplest), low end, high end, then the eighths between them."""
    if span.low == span.high:
        return span.nominal
    chosen = draws.index(name, 3 + _INSIDE - 1)
    if chosen < 3:
        return (span.nominal, span.low, span.high)[chosen]
    return rounded_inside(span.low + (span.high - span.low) * (chosen - 2) / _INSIDE, span)


def rounded_inside(value: float, span: Range) -> float:
    """`value` with four significant digits, so that a scenario reads well, but never outside."""
    return min(max(float(f"{value:.4g}"), span.low), span.high)


def load_factors(drive: Drive) -> Range:
    """Factors on the nominal propeller that the drive is declared for."""
    return drive.load.kq_nm_s2.factors


ELSEWHERE = ("kq", "winding_c")
"""Parts that are not drawn: see `varied_parts`."""


def varied_parts(drive: Drive) -> dict[str, Range]:
    """Parts that the drive leaves a range to, by key of `[parts]`.

    The propeller is left out: `load_factor` varies it; the copper's temperature too, which the range of
    its resistance allows for.
    """
    ranges = part_ranges(drive)
    return {name: span for name, span in ranges.items() if span.low < span.high and name not in ELSEWHERE}


@dataclass(frozen=True, slots=True)
class Visit:
    """Where one scenario went: supply (V) and factor on the propeller at power-on, extreme speeds (rpm).

    `speeds_rpm` is None where nobody saw the rotor.
    """

    supply_v: float
    load_factor: float
    speeds_rpm: tuple[float, float] | None

    @classmethod
    def of(cls, scenario: Scenario, drive: Drive, speeds_rpm: tuple[float, float] | None) -> "Visit":
        """The visit of a scenario that has been run."""
        supply_v = _values(scenario.supply_v, drive.supply.v_v.nominal)[0]
        return cls(supply_v, _values(scenario.load_factor, 1.0)[0], speeds_rpm)


@dataclass
class Reached:
    """What part of the envelope a set of scenarios has visited, from power-on to the end."""

    sectors: set[int] = field(default_factory=set)
    supply_v: list[float] = field(default_factory=list)
    load_factor: list[float] = field(default_factory=list)
    throttle_us: list[float] = field(default_factory=list)
    full_forward: int = 0
    full_reverse: int = 0
    resets: int = 0
    power_cuts: int = 0
    supply_gaps: int = 0
    stalls: int = 0
    clock: list[float] = field(default_factory=list)
    corners: set[tuple[float, float]] = field(default_factory=set)
    parts: set[str] = field(default_factory=set)

    def add(self, scenario: Scenario, drive: Drive) -> None:
        """Count one scenario in."""
        self.sectors.add(int(scenario.rest_deg % 360.0 // SECTOR_DEG))
        supply_v = _values(scenario.supply_v, drive.supply.v_v.nominal)
        factors = _values(scenario.load_factor, 1.0)
        _widen(self.supply_v, supply_v)
        ends = load_factors(drive)
        _widen(self.load_factor, [factor for factor in factors if factor <= ends.high])
        if supply_v[0] in (drive.supply.v_v.low, drive.supply.v_v.high) and factors[0] in (
            ends.low,
            ends.high,
        ):
            self.corners.add((supply_v[0], factors[0]))
        widths = [us for _, us in scenario.throttle_us]
        _widen(self.throttle_us, [us for us in widths if us > 0.0])
        self.full_forward += drive.throttle.forward_full_us in widths
        self.full_reverse += not drive.throttle.one_way and drive.throttle.reverse_full_us in widths
        kinds = [fault.kind for fault in scenario.faults]
        self.resets += kinds.count("reset")
        self.power_cuts += kinds.count("power cut")
        self.supply_gaps += kinds.count("supply gap")
        self.stalls += any(factor > JAMMED * ends.high for factor in factors)
        _widen(self.clock, [scenario.parts.get("clock", 1.0)])
        self.parts |= scenario.parts.keys()

    def merge(self, other: "Reached") -> None:
        """Count all scenarios of another set in."""
        self.sectors |= other.sectors
        _widen(self.supply_v, other.supply_v)
        _widen(self.load_factor, other.load_factor)
        _widen(self.throttle_us, other.throttle_us)
        self.full_forward += other.full_forward
        self.full_reverse += other.full_reverse
        self.resets += other.resets
        self.power_cuts += other.power_cuts
        self.supply_gaps += other.supply_gaps
        self.stalls += other.stalls
        _widen(self.clock, other.clock)
        self.corners |= other.corners
        self.parts |= other.parts

    def summary(self) -> dict[str, object]:
        """For the JSON report; ranges as [lowest, highest]."""
        return {
            "rest_sectors_of_15_deg": len(self.sectors),
            "supply_v": self.supply_v,
            "load_factor": self.load_factor,
            "supply_and_load_corners": len(self.corners),
            "throttle_us": self.throttle_us,
            "full_forward": self.full_forward,
            "full_reverse": self.full_reverse,
            "resets": self.resets,
            "power_cuts": self.power_cuts,
            "supply_gaps": self.supply_gaps,
            "stalls": self.stalls,
            "clock_error_ppm": [round((factor - 1.0) * 1e6, 1) for factor in self.clock],
            "parts_varied": sorted(self.parts),
        }


def _values(trace: Trace, default: float) -> list[float]:
    return [value for _, value in trace] or [default]


def _widen(bounds: list[float], values: Iterable[float]) -> None:
    both = [*bounds, *values]
    bounds[:] = [min(both), max(both)] if both else []
