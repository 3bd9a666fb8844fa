"""Every key of a scenario file: meaning, unit, bounds, default and the reason of the default."""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

from dryspin.drive.keys import Key, MismatchError, Number, Text, toml_text

VERSION_KEY = "dryspin_scenario"
VERSION = 1
STORE_BYTES = 512
"""Of the part's byte store."""


@dataclass(frozen=True, kw_only=True)
class Hex(Key):
    """Bytes as an even number of hexadecimal digits; `at_most` bytes."""

    at_most: int

    def take(self, raw: object) -> str:
        """The digits, lower case."""
        if not isinstance(raw, str):
            raise MismatchError("is not a text of hexadecimal digits")
        try:
            count = len(bytes.fromhex(raw))
        except ValueError:
            raise MismatchError("is not an even number of hexadecimal digits") from None
        if count > self.at_most:
            raise MismatchError(f"holds {count} bytes, more than the {self.at_most} of the store")
        return raw.lower()


@dataclass(frozen=True, kw_only=True)
class Points(Number):
    """A trace: a list of [time in s, value], the first at 0 s, times strictly increasing.

    The bounds are those of the values.
    """

    def take(self, raw: object) -> tuple[tuple[float, float], ...]:  # type: ignore[override]
        """The breakpoints as pairs of floats."""
        if not isinstance(raw, list | tuple):
            raise MismatchError("is not a list of [time in s, value] points")
        points = tuple(self._point(k, point) for k, point in enumerate(raw))
        if points and points[0][0] != 0.0:
            raise MismatchError(f"begins at {points[0][0]!r} s, not at 0 s")
        for k, ((early_s, _), (late_s, _)) in enumerate(pairwise(points), start=1):
            if not late_s > early_s:
                raise MismatchError(
                    f"has point {k} at {late_s!r} s, which is not after point {k - 1} at {early_s!r} s; "
                    "sort the points by time"
                )
        if self.required and not points:
            raise MismatchError("is an empty list")
        return points

    def _point(self, k: int, point: object) -> tuple[float, float]:
        if not isinstance(point, list | tuple) or len(point) != 2:
            raise MismatchError(f"has {toml_text(point)} as point {k}, which is not [time in s, value]")
        try:
            return TIME.take(point[0]), super().take(point[1])
        except MismatchError as mismatch:
            raise MismatchError(f"has {toml_text(point)} as point {k}: {_blamed(point)} {mismatch}") from None


def _blamed(point: list[object] | tuple[object, ...]) -> str:
    try:
        TIME.take(point[0])
    except MismatchError:
        return "its time"
    return "its value"


TIME = Number(name="time", unit="s", at_least=0.0, at_most=600.0, meaning="a time")

TOP: tuple[Key, ...] = (
    Number(name="seed", whole=True, at_least=0, at_most=2**63 - 1,
           meaning="the seed of the noise, which is a function of seed and time"),
    Number(name="end_s", unit="s", above=0.0, at_most=600.0,
           meaning="the length of the run in seconds from power-on"),
    Number(name="rest_deg", unit="deg", at_least=0.0, at_most=360.0,
           meaning="the rotor's angle at power-on in electrical degrees"),
    Number(name="frame_ms", unit="ms", at_least=1.0, at_most=1000.0,
           meaning="the period of the throttle pulses, commonly 20 ms"),
    Hex(name="store", default="", at_most=STORE_BYTES,
        meaning="the first bytes of the byte store at power-on, as hexadecimal digits",
        reason="an erased store, every byte 0xFF"),
    Points(name="throttle_us", unit="us", at_least=0.0,
           meaning="the pulse width as steps [[time in s, width in us], ...], 0 for no pulse"),
    Points(name="supply_v", unit="V", at_least=0.0, at_most=1e3, default=(),
           meaning="the supply's open-circuit voltage as points [[time in s, V], ...]",
           reason="the drive's nominal supply"),
    Points(name="load_factor", at_least=0.0, at_most=1e6, default=(),
           meaning="a factor on the propeller's torque as points [[time in s, factor], ...]",
           reason="1, the propeller as the drive has it"),
    Points(name="load_nm", unit="Nm", at_least=-1e6, at_most=1e6, default=(),
           meaning="a torque against forward rotation as points [[time in s, Nm], ...]",
           reason="none, nothing but the propeller"),
    Points(name="speed_rpm", unit="rpm", at_least=-1e5, at_most=1e5, default=(),
           meaning="the speed of a driven rotor as points [[time in s, rpm], ...]",
           reason="the rotor is free"),
    Points(name="water_rpm", unit="rpm", at_least=-1e5, at_most=1e5, default=(),
           meaning="the speed at which the propeller turns freely in the water that flows past it, as points "
                   "[[time in s, rpm], ...]",
           reason="still water"),
    Points(name="comparator_noise_mv", unit="mV", at_least=0.0, at_most=5e3, default=(),
           meaning="the standard deviation of the comparator's noise as points [[time in s, mV], ...]",
           reason="none"),
)  # fmt: skip

FACTOR_MEANING = "a factor on the drive's nominal value"
PARTS: Mapping[str, Key] = {
    **{
        name: Number(name=name, above=0.0, at_most=1e3, meaning=FACTOR_MEANING)
        for name in ("kv", "r_phase", "l_phase", "j", "r_on", "r_supply", "c_bus")
    },
    **{
        # What a drive may lack altogether.
        name: Number(name=name, at_least=0.0, at_most=1e3, meaning=FACTOR_MEANING)
        for name in ("kq", "coulomb", "v_f", "static", "esr", "tau", "diode_slope")
    },
    "winding_c": Number(name="winding_c", unit="C", at_least=-50.0, at_most=300.0,
                        meaning="the temperature of the copper in C; r_phase is the resistance at 20 C"),
    "clock": Number(name="clock", at_least=0.5, at_most=2.0,
                    meaning="a factor on the frequency of the controller's clock"),
    "offset_v": Number(name="offset_v", unit="V", at_least=-1.0, at_most=1.0,
                       meaning="the comparator's input offset in V"),
    "delay_s": Number(name="delay_s", unit="s", at_least=0.0, at_most=1e-3,
                      meaning="the comparator's propagation delay in s"),
}  # fmt: skip

_WAIT = 'the faults now are "reset", "power cut", "supply gap", "endless loop" and "lead open"'
FAULT: tuple[Key, ...] = (
    Text(name="kind", choices=("reset", "power cut", "supply gap", "endless loop", "lead open"),
         meaning="\"reset\" (a short pulse on the reset pin), \"power cut\" (source and controller dead at "
                 "once), \"supply gap\" (source off, the controller lives on the bus capacitor), \"endless "
                 "loop\" (the code goes round and round with interrupts off, until a reset) or \"lead open\" "
                 "(one phase is not connected)",
         not_yet={"brown-out": _WAIT, "watchdog": _WAIT}),
    Number(name="at_s", unit="s", at_least=0.0, at_most=600.0, meaning="the moment of the fault in s"),
    Number(name="for_ms", unit="ms", at_least=0.0, at_most=600e3, default=0.0,
           meaning="the length of the fault in ms", reason="a moment, not a time"),
    Text(name="phase", choices=("U", "V", "W"), default="", may_be_empty=True,
         meaning="the phase whose lead is open", reason="needed only with kind = \"lead open\""),
)  # fmt: skip

OUTAGES = ("power cut", "supply gap")
"""Fault kinds that take the source off the bus; a power cut takes the controller's supply with it."""

MOMENTARY_FAULTS = ("reset", "endless loop", "lead open")
"""Fault kinds that have no length of their own."""
