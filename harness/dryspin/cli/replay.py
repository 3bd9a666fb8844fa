"""`dryspin replay`: a finding on today's firmware."""

from collections.abc import Mapping
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from dryspin.cli.export import Exports, Notice, export_options
from dryspin.cli.options import DIRECTORY, FILE

if TYPE_CHECKING:
    from dryspin.drive import Drive
    from dryspin.findings import Subject, Trial
    from dryspin.scenario import Scenario
    from dryspin.waveforms import RenderedTone


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.argument("finding_file", metavar="FINDING", type=FILE)
@click.option(
    "--firmware",
    type=DIRECTORY,
    metavar="DIR",
    help="Run it on this firmware, with its drive.toml, instead of the one it was found in.",
)
@click.option(
    "--vary",
    "varying",
    is_flag=True,
    help="Run it again with one event or tolerance after the other left out, made plain or moved, and say "
    "which of them the claim needs.",
)
@export_options
def replay(
    finding_file: Path,
    firmware: Path | None,
    varying: bool,
    vcd: Path | None,
    csv: Path | None,
    step_us: float | None,
    from_s: float,
    to_s: float | None,
    wav: Path | None,
) -> int:
    """Run the scenario of a finding on today's firmware.

    FINDING is a file that a check has saved. Says whether the claim is still broken, and whether
    firmware, drive, claims or build differ from those it was found with.

    Exits with 1 if the claim is still broken, with 0 if it holds now, with 2 if it could not run
    or the scenario no longer says anything about the claim.
    """
    from dryspin.cli.output import Bar, print_lines
    from dryspin.drive import load_drive
    from dryspin.errors import FindingError
    from dryspin.findings import (
        BROKEN,
        HELD,
        SHOWN_BY_A_RUN,
        judge_of,
        load_subject,
        read_finding,
        replay_on,
        tried,
    )
    from dryspin.report import replay_lines
    from dryspin.report.sound import tone_lines
    from dryspin.report.varying import varied_lines
    from dryspin.search.varying import vary

    exports = Exports(vcd, csv, wav, step_us, from_s, to_s)
    exports.check()
    finding = read_finding(finding_file)
    if firmware is None and not finding.firmware.is_dir():
        raise FindingError(
            f"{finding_file}: the firmware it was found in is not at {finding.firmware}: no such directory; "
            "put it there or name another with --firmware"
        )
    subject = load_subject(firmware, None) if firmware else load_subject(finding.firmware, finding.drive)
    with Bar() as bar:
        trying = _Exporting(subject, exports, bar.notice)
        replayed = replay_on(trying, finding)
        if exports.wanted and finding.claim in SHOWN_BY_A_RUN:
            tried(trying, finding.scenario)  # recordings of the plain build are those of the checked one
    drive = load_drive(firmware or finding.drive)
    lines = replay_lines(replayed, drive, finding_file)
    if varying:
        lines += [
            "",
            *varied_lines(vary(partial(tried, judge_of(subject, finding)), finding.scenario, finding.claim)),
        ]
    print_lines([*lines, *(tone_lines(trying.tones, wav) if wav else [])])
    return {HELD: 0, BROKEN: 1}.get(replayed.outcome.status, 2)


class _Exporting:
    """A subject that writes the files asked for while the recording is at hand."""

    def __init__(self, subject: "Subject", exports: Exports, notice: Notice) -> None:
        self._subject, self._exports, self._notice = subject, exports, notice
        self.tones: list[RenderedTone] = []

    @property
    def hashes(self) -> Mapping[str, str]:
        """Those of the subject."""
        return self._subject.hashes

    @property
    def directory(self) -> Path:
        """That of the subject."""
        return self._subject.directory

    @property
    def drive(self) -> "Drive":
        """That of the subject."""
        return self._subject.drive

    def try_out(self, scenario: "Scenario") -> "Trial":
        """Run, write, judge."""
        recording = self._subject.record(scenario)
        if self._exports.wanted:
            self.tones = self._exports.write(recording, self._notice)
        return self._subject.judge(recording)
