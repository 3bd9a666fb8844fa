"""What a run may leave besides its verdicts: a value change dump, a table, sound."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from dryspin.cli.options import FILE
from dryspin.errors import UsageError

if TYPE_CHECKING:
    from dryspin.recording import Recording
    from dryspin.waveforms import RenderedTone

Notice = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Exports:
    """The files asked for, and the part of the run that goes into the first two."""

    vcd: Path | None
    csv: Path | None
    wav: Path | None
    step_us: float | None
    from_s: float
    to_s: float | None

    @property
    def wanted(self) -> bool:
        """Whether any file was asked for."""
        return bool(self.vcd or self.csv or self.wav)

    def check(self) -> None:
        """Raise UsageError for what cannot be written or says nothing; asked before a long run."""
        from dryspin.cli.output import require_writable_file

        for path, option in ((self.vcd, "--vcd"), (self.csv, "--csv"), (self.wav, "--wav")):
            require_writable_file(path, option)
        given = [path.absolute() for path in (self.vcd, self.csv, self.wav) if path]
        if len(set(given)) < len(given):
            raise UsageError("two of --vcd, --csv and --wav name the same file; give each its own")
        if self.step_us is not None and self.csv is None:
            raise UsageError("--step-us says how often to sample for --csv FILE, which is not given")
        if self.to_s is not None and self.to_s <= self.from_s:
            raise UsageError(f"--to-s {self.to_s:g} is not after --from-s {self.from_s:g}; exchange them")

    def write(self, recording: "Recording", notice: Notice) -> "list[RenderedTone]":
        """Write the files; returns the tones in the sound file, none where none is asked for or played.

        Raises UsageError where the window lies outside the run.
        """
        from dryspin.waveforms import Window, render_tones, save_csv, save_vcd, save_wav

        if self.from_s >= recording.end_s:
            raise UsageError(
                f"--from-s {self.from_s:g}: the run ends at {recording.end_s:g} s; give an earlier moment"
            )
        window = Window(self.from_s, recording.end_s if self.to_s is None else self.to_s)
        if self.vcd:
            save_vcd(recording, self.vcd, window, notice)
        if self.csv:
            save_csv(recording, self.csv, window, self.step_us, notice)
        tones: list[RenderedTone] = []
        if self.wav:
            tones, sound = render_tones(recording)
            if tones:
                save_wav(sound, self.wav)
        return tones


_OPTIONS = (
    click.option(
        "--vcd",
        type=FILE,
        metavar="FILE",
        help="Write every signal as a value change dump (IEEE 1364): some 8 MB a simulated second.",
    ),
    click.option(
        "--csv",
        type=FILE,
        metavar="FILE",
        help="Write every signal as a table, a row for each change: some 13 MB a simulated second.",
    ),
    click.option(
        "--step-us",
        type=click.FloatRange(min=0.001),
        metavar="US",
        help="With --csv: a sample every so many microseconds instead, as an oscilloscope writes it.",
    ),
    click.option(
        "--from-s",
        type=click.FloatRange(min=0.0),
        default=0.0,
        metavar="S",
        help="First moment for --vcd and --csv, in seconds from power-on.",
    ),
    click.option(
        "--to-s",
        type=click.FloatRange(min=0.0),
        metavar="S",
        help="Last moment for --vcd and --csv; by default the end.",
    ),
    click.option(
        "--wav",
        type=FILE,
        metavar="FILE",
        help="Write the tones of the windings as sound, and list pitch and length of their notes.",
    ),
)


def export_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the options of `Exports` to a command."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command
