"""A capture as signals of the drive: levels with edges, terminal voltages, and how well both are known."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from dryspin.capture.csv_in import read_csv
from dryspin.capture.levels import Levels, delayed, settled, stepped, thresholded
from dryspin.capture.mapping import (
    EITHER,
    LEVEL_SIGNALS,
    MID_RUN,
    CaptureMap,
    ChannelMap,
)
from dryspin.capture.raw import Changes, Raw, Sampled
from dryspin.capture.vcd_in import read_vcd
from dryspin.drive import Drive
from dryspin.errors import CaptureError

Notice = Callable[[str, int, int], None]

VCD_MARKS: Final = (b"$date", b"$version", b"$comment", b"$timescale", b"$scope", b"$var")
"""A value change dump begins with one of these, whatever its file is called."""

LONGEST_S: Final = 600.0
"""As of a scenario."""

MOST_RESAMPLED: Final = 50_000_000

LOGIC_VALUES: Final = (0.0, 1.0)


@dataclass(frozen=True)
class Capture:
    """What was captured, times in ns from its first moment.

    levels      by signal name, 1 = on: the FET conducts, the pulse stands, reset is held
    volts       by signal name: voltage at the terminal ("phase U") or the bus at each sample
    step_ns     time between samples of `volts`
    resolution_ns  by how much the distance of two edges of different channels may be wrong: a sample
                period, the skew, the spread of delays
    origin_s    what the file calls the first moment
    glitches    levels left out, by signal
    """

    path: Path
    mapped: CaptureMap
    levels: Mapping[str, Levels]
    volts: Mapping[str, NDArray[np.float32]]
    step_ns: float
    sample_ns: float
    resolution_ns: float
    end_ns: float
    origin_s: float
    rows: int

    @property
    def end_s(self) -> float:
        """Length in s."""
        return self.end_ns * 1e-9

    @property
    def mid_run(self) -> bool:
        """Whether the drive was on already when the capture began."""
        return self.mapped.begins == MID_RUN

    @property
    def glitches(self) -> dict[str, int]:
        """Levels left out as too short, by signal, where there were any."""
        return {name: line.glitches for name, line in self.levels.items() if line.glitches}


def read_capture(path: Path, mapped: CaptureMap, drive: Drive, notice: Notice) -> Capture:
    """Read a CSV file or a value change dump; raises CaptureError with file, line and remedy."""
    raw = (read_vcd if _is_vcd(path) else read_csv)(path, mapped, notice)
    if raw.end_ns * 1e-9 > LONGEST_S:
        raise CaptureError(
            f"{path}: lasts {raw.end_ns * 1e-9:.4g} s, {LONGEST_S:g} s are the most. Is time_unit in "
            f"{mapped.path} right? Else cut the capture."
        )
    levels: dict[str, Levels] = {}
    volts: dict[str, NDArray[np.float32]] = {}
    step_ns = raw.sample_ns
    for channel, source in zip(mapped.channels, raw.channels, strict=True):
        if channel.signal in LEVEL_SIGNALS:
            levels[channel.signal] = _levels(path, channel, source, raw, mapped, drive)
            continue
        name, scale = _terminal(channel, drive)
        volts[name] = _even_volts(path, source, raw, step_ns) * np.float32(scale)
    spread = max((channel.delay_spread_ns for channel in mapped.channels), default=0.0)
    return Capture(
        path=path,
        mapped=mapped,
        levels=levels,
        volts=volts,
        step_ns=step_ns,
        sample_ns=raw.sample_ns,
        resolution_ns=raw.sample_ns + mapped.skew_ns + spread,
        end_ns=raw.end_ns,
        origin_s=raw.origin_ns * 1e-9,
        rows=raw.rows,
    )


def _is_vcd(path: Path) -> bool:
    try:
        with path.open("rb") as file:
            begin = file.read(4096).lstrip()
    except OSError:
        return path.suffix.lower() == ".vcd"
    return begin.startswith(VCD_MARKS) or (path.suffix.lower() == ".vcd" and b"," not in begin)


def _levels(
    path: Path, channel: ChannelMap, source: Sampled | Changes, raw: Raw, mapped: CaptureMap, drive: Drive
) -> Levels:
    if isinstance(source, Changes):
        if source.values.dtype != np.int64:
            source = Changes(source.t_ns, _of_reals(channel, source, drive))
        moments, values = stepped(source.t_ns, source.values.astype(np.int64))
    else:
        moments, values = _sampled_levels(channel, source.values, raw, drive)
    if channel.active == EITHER:
        moments, values = _toggles(moments, values, raw.sample_ns)
    elif channel.active == "low":
        values = 1 - values
    line = settled(moments, values, mapped.glitch_ns, raw.end_ns)
    return delayed(line, channel.delay_ns, raw.end_ns)


def _sampled_levels(
    channel: ChannelMap, values: NDArray[np.float32], raw: Raw, drive: Drive
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Levels of samples: a column of nothing but 0 and 1 has levels already, unless a threshold is given."""
    logic = channel.threshold_v is None and bool(
        np.all((values == LOGIC_VALUES[0]) | (values == LOGIC_VALUES[1]))
    )
    if logic:
        change = np.flatnonzero(values[1:] != values[:-1]) + 1
        at = np.append(0, change)
        return np.round(raw.t_ns[at]).astype(np.int64), values[at].astype(np.int64)
    threshold_v, hysteresis_v = _threshold(channel, drive)
    return thresholded(values * np.float32(channel.scale), raw.t_ns, threshold_v, hysteresis_v)


def _of_reals(channel: ChannelMap, source: Changes, drive: Drive) -> NDArray[np.int64]:
    threshold_v, _ = _threshold(channel, drive)
    return (source.values * channel.scale > threshold_v).astype(np.int64)


def _threshold(channel: ChannelMap, drive: Drive) -> tuple[float, float]:
    supply_v = drive.controller.v_supply_v
    threshold_v = supply_v / 2.0 if channel.threshold_v is None else channel.threshold_v
    return threshold_v, supply_v / 10.0 if channel.hysteresis_v is None else channel.hysteresis_v


def _toggles(
    moments: NDArray[np.int64], values: NDArray[np.int64], sample_ns: float
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """A pulse of one sample at each edge of a line that toggles."""
    edges = moments[1:]
    width = max(1, round(sample_ns))
    times = np.concatenate([[0], np.stack([edges, edges + width], axis=1).ravel()])
    levels = np.concatenate([[0], np.tile([1, 0], len(edges))])
    return times, levels


def _terminal(channel: ChannelMap, drive: Drive) -> tuple[str, float]:
    """(signal, volts at the terminal per unit of the file); a sense pin is behind the drive's divider."""
    if channel.signal.startswith("sense "):
        return channel.signal.replace("sense ", "phase "), channel.scale / drive.sense.ratio
    return channel.signal, channel.scale


def _even_volts(path: Path, source: Sampled | Changes, raw: Raw, step_ns: float) -> NDArray[np.float32]:
    """Values on an even grid of `step_ns` from the first moment on."""
    if isinstance(source, Sampled) and raw.even:
        return source.values
    count = int(raw.end_ns / step_ns) + 1
    if count > MOST_RESAMPLED:
        raise CaptureError(
            f"{path}: voltages at uneven moments make {count} samples of {step_ns:g} ns, more than "
            f"{MOST_RESAMPLED}. Give a longer sample_ns in the map, or capture with an even rate."
        )
    grid = np.arange(count) * step_ns
    if isinstance(source, Sampled):
        line: NDArray[np.float32] = np.interp(grid, raw.t_ns, source.values).astype(np.float32)
        return line
    at = np.maximum(np.searchsorted(source.t_ns, grid, side="right") - 1, 0)
    held: NDArray[np.float32] = source.values[at].astype(np.float32)
    return held
