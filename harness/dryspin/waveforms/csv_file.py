"""A recording as a table: time_s, then a column a channel.

Either a row for each moment at which a channel changes, or one every so many microseconds, as an
oscilloscope would write it.
"""

import csv
import math
from pathlib import Path
from typing import Any

import numpy as np

from dryspin.errors import UsageError
from dryspin.recording import Recording
from dryspin.recording.timeline import Ints
from dryspin.waveforms.channels import NS_PER_S, Channel, Kind, Window, analog_at, channels_of, end_ns
from dryspin.waveforms.files import Notice, silent, whole_file

ROWS = 50_000
"""Written at a time."""

MOST_ROWS = 50_000_000


def save_csv(
    recording: Recording,
    path: Path,
    window: Window | None = None,
    step_us: float | None = None,
    notice: Notice = silent,
) -> None:
    """Write every channel of `recording` to `path`, RFC 4180, first line the names.

    With `step_us` the channels are sampled, analog ones as they are at that moment, without it every
    change has its row. UsageError where the
    place cannot be written.
    """
    channels = [channel for channel in channels_of(recording, window) if len(channel.t_ns)]
    first = round((window.from_s if window else 0.0) * NS_PER_S)
    last = end_ns(recording, window)
    times = _changes(channels, last) if step_us is None else _grid(first, last, step_us)
    with whole_file(path) as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["time_s", *(channel.name for channel in channels)])
        for start in range(0, len(times), ROWS):
            notice("rows", start, len(times))
            rows = times[start : start + ROWS]
            seconds = [f"{t / NS_PER_S:.9f}" for t in rows.tolist()]
            analog = analog_at(recording, rows / NS_PER_S) if step_us is not None else {}
            columns = [
                analog[channel.name].tolist()
                if step_us is not None and channel.kind is Kind.REAL
                else _column(channel, rows)
                for channel in channels
            ]
            writer.writerows(zip(seconds, *columns, strict=True))


def _changes(channels: list[Channel], last: int) -> Ints:
    """Every moment at which something changes, and the end."""
    times: Ints = np.unique(np.concatenate([*(channel.t_ns for channel in channels), [last]]))
    return times


def _grid(first: int, last: int, step_us: float) -> Ints:
    step_ns = step_us * 1000.0
    rows = math.floor((last - first) / step_ns) + 1
    if rows > MOST_ROWS:
        raise UsageError(
            f"a sample every {step_us:g} us makes {rows} rows, more than {MOST_ROWS}; "
            "ask for a longer step or a shorter window"
        )
    times: Ints = first + np.round(np.arange(rows) * step_ns).astype(np.int64)
    return times


def _column(channel: Channel, rows: Ints) -> list[Any]:
    at = np.maximum(np.searchsorted(channel.t_ns, rows, side="right") - 1, 0)
    values: list[Any] = channel.values[at].tolist()
    return values
