"""`MAP.toml`: which channel of a capture is which signal of the drive, and how it got there.

Strict, like every file here: an unknown key, a signal mapped twice or a missing skew is refused with
file and line. `README.md` beside this file has a worked example.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from dryspin.drive.document import Document, read_document
from dryspin.drive.keys import Key, MismatchError, Number, Text
from dryspin.drive.section import Section
from dryspin.errors import CaptureError

VERSION_KEY: Final = "dryspin_map"
VERSION: Final = 1

GATE_SIGNALS: Final = tuple(f"gate {leg} {fet}" for leg in "UVW" for fet in ("high", "low"))
PHASE_SIGNALS: Final = tuple(f"phase {leg}" for leg in "UVW")
SENSE_SIGNALS: Final = tuple(f"sense {leg}" for leg in "UVW")
LEVEL_SIGNALS: Final = (*GATE_SIGNALS, "throttle", "comparator", "reset")
VOLTAGE_SIGNALS: Final = (*PHASE_SIGNALS, *SENSE_SIGNALS, "bus")

EITHER: Final = "either"
"""A line that toggles: each edge is a moment of its own."""

TIME_UNITS: Final[Mapping[str, float]] = {"s": 1e9, "ms": 1e6, "us": 1e3, "ns": 1.0}
"""Nanoseconds in one."""

POWER_ON, MID_RUN = "power-on", "mid-run"


@dataclass(frozen=True, kw_only=True)
class Place(Key):
    """A column or variable: its name, or its number from 1 on."""

    def take(self, raw: object) -> str | int:
        """A str or an int."""
        if isinstance(raw, bool) or not isinstance(raw, str | int):
            raise MismatchError("is neither a name in quotes nor a number")
        if isinstance(raw, int) and raw < 1:
            raise MismatchError("is not a column; the first is 1")
        if isinstance(raw, str) and not raw:
            raise MismatchError("is empty")
        return raw


CAPTURE: tuple[Key, ...] = (
    Number(name="skew_ns", unit="ns", at_least=0.0, at_most=1e9,
           meaning="by how much two channels may disagree about one moment: probes, instrument, cables"),
    Number(name="sample_ns", unit="ns", above=0.0, at_most=1e9, default=None,
           meaning="the time between two samples", reason="as the file's own times show it"),
    Number(name="glitch_ns", unit="ns", at_least=0.0, at_most=1e9, default=0.0,
           meaning="how long a level must stand to count; shorter ones are taken for disturbances",
           reason="every level counts"),
    Text(name="begins", choices=(POWER_ON, MID_RUN), default=MID_RUN,
         meaning="whether the capture begins with power-on or in the middle of a run",
         reason="an oscilloscope is triggered when it is interesting"),
    Place(name="time", default=1, meaning="the column of time, by name or number; CSV only",
          reason="the first column"),
    Text(name="time_unit", choices=tuple(TIME_UNITS), default="s", meaning="the unit of the time column",
         reason="what instruments write"),
    Text(name="time_from", choices=("column", "row number"), default="column",
         meaning="whether time stands in a column, or each row is one sample_ns later",
         reason="most files have a column"),
)  # fmt: skip

CHANNEL: tuple[Key, ...] = (
    Place(name="channel", meaning="the channel as the file calls it: a name, or the number of the column"),
    Text(name="signal", choices=(*LEVEL_SIGNALS, *VOLTAGE_SIGNALS), meaning="the drive's signal"),
    Text(name="active", choices=("high", "low", EITHER), default="high",
         meaning="the level that means on; \"low\" behind an inverting level shifter, \"either\" for a "
                 "reset line that toggles",
         reason="no level shifter, or one that does not invert"),
    Number(name="bit", whole=True, at_least=0, at_most=63, default=None,
           meaning="the bit of a channel that is several bits wide, 0 the lowest",
           reason="needed only for such a channel"),
    Number(name="delay_ns", unit="ns", at_least=-1e6, at_most=1e6, default=0.0,
           meaning="by how much the signal comes later than what the probe saw: driver, level shifter",
           reason="probed where it acts"),
    Number(name="delay_spread_ns", unit="ns", at_least=0.0, at_most=1e6, default=0.0,
           meaning="by how much that delay may differ from edge to edge", reason="no level shifter"),
    Number(name="scale", at_least=-1e6, at_most=1e6, default=1.0,
           meaning="volts at the probe's tip per unit of the file, such as 10 for a probe that is not told",
           reason="the file is in volts"),
    Number(name="threshold_v", unit="V", at_least=-1e3, at_most=1e3, default=None,
           meaning="the voltage above which a level is high", reason="half of the controller's supply"),
    Number(name="hysteresis_v", unit="V", at_least=0.0, at_most=1e3, default=None,
           meaning="by how much the voltage must pass the threshold", reason="a tenth of that supply"),
)  # fmt: skip


@dataclass(frozen=True)
class ChannelMap:
    """One `[[channel]]`; `line` is where it stands."""

    channel: str | int
    signal: str
    active: str
    bit: int | None
    delay_ns: float
    delay_spread_ns: float
    scale: float
    threshold_v: float | None
    hysteresis_v: float | None
    line: str


@dataclass(frozen=True)
class CaptureMap:
    """A map as read; `sample_ns` is None where the file has to tell."""

    path: Path
    skew_ns: float
    sample_ns: float | None
    glitch_ns: float
    begins: str
    time: str | int
    time_unit: str
    time_from: str
    channels: tuple[ChannelMap, ...] = field(default=())

    @property
    def numbered(self) -> bool:
        """Whether a row's number is its time."""
        return self.time_from == "row number"


def read_map(path: Path) -> CaptureMap:
    """The map in a file; raises CaptureError, naming file and line."""
    document = read_document(Path(path), CaptureError, "map of a capture's channels")
    data = dict(document.data)
    _check_version(document, data.pop(VERSION_KEY, None))
    for name in data:
        if name not in ("capture", "channel"):
            raise CaptureError(
                f"{document.where(name)}: {shown(name)} is not known. A map has [capture] and [[channel]]."
            )
    capture = Section.of(document, data.get("capture", {}), "capture")
    top = capture.read(CAPTURE)
    if top["time_from"] == "row number" and top["sample_ns"] is None:
        raise capture.problem(
            "time_from", ' = "row number" needs sample_ns: without a time column nothing else tells it.'
        )
    channels = _channels(document, data.get("channel", []))
    return CaptureMap(path=Path(path), **top, channels=channels)


def _check_version(document: Document, version: object) -> None:
    if type(version) is not int or version != VERSION:
        given = "is missing" if version is None else f"= {version!r}"
        raise CaptureError(
            f'{document.where(VERSION_KEY)}: {VERSION_KEY} {given}. Begin the file with "{VERSION_KEY} = '
            f'{VERSION}", the version that this dryspin reads.'
        )


def _channels(document: Document, tables: Any) -> tuple[ChannelMap, ...]:
    if not isinstance(tables, list) or not tables:
        raise CaptureError(
            f"{document.where('channel')}: no channel is mapped. Write [[channel]] with channel and signal."
        )
    found: list[ChannelMap] = []
    for k, table in enumerate(tables):
        section = Section.of(document, table, "channel", k)
        given = ChannelMap(**section.read(CHANNEL), line=document.where("channel", k))
        if given.active == EITHER and given.signal != "reset":
            raise section.problem("active", f' = "{EITHER}" is for reset only; give "high" or "low".')
        for other in found:
            if _subject(other.signal) == _subject(given.signal):
                raise section.problem(
                    "signal", f' = "{given.signal}" is mapped already at {other.line}. Remove one.'
                )
            if (other.channel, other.bit) == (given.channel, given.bit):
                raise section.problem(
                    "channel", f" = {shown(given.channel)} is mapped already at {other.line}. Remove one."
                )
        found.append(given)
    return tuple(found)


def _subject(signal: str) -> str:
    """A terminal is the same seen directly or behind its divider."""
    return signal.replace("sense ", "phase ")


def shown(name: object, most: int = 60) -> str:
    """A name from a file as a message may show it: no control characters, not endless, in quotes."""
    if not isinstance(name, str):
        return str(name)
    text = "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in name)
    return f'"{text if len(text) <= most else text[: most - 3] + "..."}"'
