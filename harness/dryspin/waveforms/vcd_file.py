"""A recording as a value change dump (IEEE 1364-2005, clause 18), written through pyvcd.

One scope for the drive, in it pins, firmware, analog and rotor. Whole numbers are vectors, analog
values are reals. The file is the same for the same run: it
carries the recording's digest instead of a date.
"""

import re
from pathlib import Path
from typing import Any

import numpy as np

from dryspin.errors import UsageError
from dryspin.recording import Recording
from dryspin.waveforms.channels import NS_PER_S, Channel, Kind, Window, channels_of, end_ns
from dryspin.waveforms.files import Notice, silent, whole_file

_NO_NAME = re.compile(r"[^A-Za-z0-9_]+")

NOTICE_EVERY = 100_000

INSTALL = "pip install 'dryspin[waveforms]'"


def save_vcd(recording: Recording, path: Path, window: Window | None = None, notice: Notice = silent) -> None:
    """Write every channel of `recording` to `path`, time scale 1 ns from power-on.

    Raises UsageError where the place cannot be written or pyvcd is not installed.
    """
    try:
        from vcd import VCDWriter
    except ImportError:
        raise UsageError(f"{path}: a value change dump needs pyvcd: {INSTALL}") from None
    channels = [channel for channel in channels_of(recording, window) if len(channel.t_ns)]
    with whole_file(path) as file:
        comment = f"{plain(recording.drive.name)}; digest {recording.digest()}; times are exact to 1 ns"
        notes = [f"{channel.name}: {channel.note}" for channel in channels if channel.note]
        writer = VCDWriter(
            file,
            timescale="1 ns",
            date="from power-on",
            comment="\n".join([comment, *notes]),
            init_timestamp=round((window.from_s if window else 0.0) * NS_PER_S),
        )
        top = identifier(recording.drive.name)
        variables = [_registered(writer, top, channel) for channel in channels]
        _write(writer, variables, channels, notice)
        writer.close(end_ns(recording, window))


def identifier(name: str) -> str:
    """`name` as one word for a scope: letters, digits and underscores, never empty."""
    return _NO_NAME.sub("_", name).strip("_") or "drive"


def plain(text: str) -> str:
    """`text` without what would end a header section."""
    return " ".join(text.replace("$", " ").split())


def _registered(writer: Any, top: str, channel: Channel) -> Any:
    scope = (top, channel.scope)
    if channel.kind is Kind.REAL:
        return writer.register_var(scope, channel.name, "real", init=float(channel.values[0]))
    first = int(channel.values[0])
    return writer.register_var(scope, channel.name, "wire", size=channel.bits, init=first)


def _write(writer: Any, variables: list[Any], channels: list[Channel], notice: Notice) -> None:
    times = np.concatenate([channel.t_ns for channel in channels])
    owner = np.repeat(np.arange(len(channels)), [len(channel.t_ns) for channel in channels])
    # Whole numbers up to 2^53 survive as floats.
    values = np.concatenate([channel.values.astype(np.float64) for channel in channels])
    whole = np.array([channel.kind is not Kind.REAL for channel in channels])
    order = np.argsort(times, kind="stable")
    change = writer.change
    for first in range(0, len(order), NOTICE_EVERY):
        notice("changes", first, len(order))
        rows = order[first : first + NOTICE_EVERY]
        for k, t_ns, value in zip(
            owner[rows].tolist(), times[rows].tolist(), values[rows].tolist(), strict=True
        ):
            change(variables[k], t_ns, int(value) if whole[k] else value)
