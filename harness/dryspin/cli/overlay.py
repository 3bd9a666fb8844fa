"""`dryspin overlay`: two recordings, or a recording and a capture, laid on each other."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from dryspin.cli.options import FILE
from dryspin.errors import UsageError

if TYPE_CHECKING:
    from dryspin.capture import Reading
    from dryspin.cli.export import Notice
    from dryspin.drive import Drive

EVENTS = ("first run", "first reversal", "first throttle pulse")


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.argument("a_file", metavar="A", type=FILE)
@click.argument("b_file", metavar="B", type=FILE)
@click.option(
    "--event",
    type=click.Choice(EVENTS),
    default=EVENTS[0],
    show_default=True,
    help="Where the two are laid on each other.",
)
@click.option("--a-s", type=float, metavar="S", help="A moment of A, in its own time, instead of the event.")
@click.option("--b-s", type=float, metavar="S", help="A moment of B, in its own time, instead of the event.")
@click.option("--map", "map_file", type=FILE, metavar="FILE", help="The map of what is a capture, A or B.")
@click.option(
    "--drive",
    "drive_file",
    type=FILE,
    metavar="FILE",
    help="The drive of a capture; by default that of the recording beside it.",
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of text.")
def overlay(
    a_file: Path,
    b_file: Path,
    event: str,
    a_s: float | None,
    b_s: float | None,
    map_file: Path | None,
    drive_file: Path | None,
    as_json: bool,
) -> int:
    """Lay two files on each other at one event and list what differs.

    A and B are recordings (.npz, as run --out saves them) or captures (.csv, .vcd; with --map). Both
    are compared by what their pins show: order and intervals of the steps, throttle pulses, times from
    FET to FET, on-times; B less A, with mean, standard deviation and the largest difference. With a
    moment for each file, the steps nearest to them that drive the same windings are laid on each other.

    Exits with 0 if the two were compared, however much they differ, with 2 if they could not be.
    """
    from dryspin.capture.comparison import Event, compare
    from dryspin.cli.output import Bar, print_lines
    from dryspin.drive import load_drive
    from dryspin.report import json_text
    from dryspin.report.overlay import overlay_json, overlay_lines

    if (a_s is None) != (b_s is None):
        raise UsageError("--a-s and --b-s go together: give a moment of each file")
    drive = load_drive(drive_file) if drive_file else None
    with Bar() as bar:
        drive = drive or _drive_of((a_file, b_file))
        a, b = (_reading(path, map_file, drive, bar.notice) for path in (a_file, b_file))
        comparison = compare(a, b, Event(event), a_s, b_s)
    if as_json:
        click.echo(json_text(overlay_json(comparison, a_file, b_file)), nl=False)
    else:
        print_lines(overlay_lines(comparison, a_file, b_file))
    return 0


def _is_recording(path: Path) -> bool:
    return path.suffix.lower() == ".npz"


def _drive_of(paths: tuple[Path, ...]) -> "Drive":
    from dryspin.recording import load_recording

    for path in paths:
        if _is_recording(path):
            return load_recording(path).drive
    raise UsageError("two captures have no drive of their own; give it with --drive FILE")


def _reading(path: Path, map_file: Path | None, drive: "Drive", notice: "Notice") -> "Reading":
    from dryspin.capture import read, read_capture, read_map
    from dryspin.capture.from_recording import capture_of
    from dryspin.recording import load_recording

    if _is_recording(path):
        recording = load_recording(path)
        return read(capture_of(recording, path), recording.drive)
    if map_file is None:
        raise UsageError(f"{path} is a capture; say with --map FILE which channel is which signal")
    return read(read_capture(path, read_map(map_file), drive, notice), drive)
