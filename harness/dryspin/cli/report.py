"""`dryspin report`: a sheet for one finding or one scenario, and what a check needs to make its own."""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from dryspin.cli.export import Exports, export_options
from dryspin.cli.options import DIRECTORY, FILE

if TYPE_CHECKING:
    from dryspin.coverage import Coverage
    from dryspin.findings import Subject
    from dryspin.report.sheet import Case
    from dryspin.search import CheckResult


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.argument("file", metavar="FILE", type=FILE)
@click.option(
    "--firmware",
    type=DIRECTORY,
    metavar="DIR",
    help="The firmware to run: needed for a scenario; for a finding instead of the one it was found in.",
)
@click.option(
    "--drive", "drive_file", type=FILE, metavar="FILE", help="A drive file instead of DIR/drive.toml."
)
@click.option(
    "--claim",
    metavar="FAMILY.CLAIM",
    help="The claim to look at: its moment, its limit. By default a finding's own; of a scenario the claim "
    "that broke first, or else the one nearest to its limit.",
)
@click.option(
    "--out",
    type=FILE,
    metavar="FILE",
    help="The page to write; by default FILE with .html for .toml, in the current directory.",
)
@click.option("--json", "as_json", is_flag=True, help="Print what was written as JSON instead of text.")
@export_options
def report(
    file: Path,
    firmware: Path | None,
    drive_file: Path | None,
    claim: str | None,
    out: Path | None,
    as_json: bool,
    vcd: Path | None,
    csv: Path | None,
    step_us: float | None,
    from_s: float,
    to_s: float | None,
    wav: Path | None,
) -> int:
    """Write a sheet: one HTML page that shows a run over time.

    FILE is a finding that a check has saved, or a scenario. It is run on today's firmware. The page
    holds the verdicts, the story, the lanes of the run (gates, comparator, currents, voltages, speed
    ...) from the whole of it down to one PWM period, the moment and the limit, the firmware line that
    acted, and how to look for the same thing at a bench. It needs no network and no other file; its
    drawings show with scripts blocked, too. Needs pip install 'dryspin[report]'. The same run can be
    written as a value change dump, a table or sound beside it.

    \b
      dryspin report traces/found/reversal-opposing-drive-1.toml
      dryspin report scenario.toml --firmware firmware_under_test/bow_thruster

    What the page says about the bench is no permission to spin: propeller off, motor held down, a
    supply with a current limit, eye protection.

    Exits with 1 if the claim looked at is broken, with 0 if it holds or nothing was judged, with 2 if
    it could not run.
    """
    from dryspin.cli.drawing import case_of_file
    from dryspin.cli.output import Bar, print_lines, require_writable_file, write_whole
    from dryspin.findings import BROKEN
    from dryspin.report import json_text, verdict_line
    from dryspin.report.sheet import case_page, require_libraries
    from dryspin.report.sound import tone_lines, tones_json

    require_libraries()
    out = out or Path(f"{file.stem}.html")
    require_writable_file(out, "--out")
    exports = Exports(vcd, csv, wav, step_us, from_s, to_s)
    exports.check()
    with Bar() as bar:
        case = case_of_file(file, firmware, drive_file, claim)
        tones = exports.write(case.recording, bar.notice) if exports.wanted else []
        bar.notice("drawing", 0, 1)
        page = case_page(case)
    write_whole(out, page)
    if as_json:
        data = {
            "schema": 1,
            "file": str(out),
            "bytes": len(page.encode()),
            "claim": case.outcome.claim,
            "verdict": case.outcome.status,
        }
        if wav:
            data["tones"] = tones_json(tones)
        click.echo(json_text(data), nl=False)
    else:
        lines = [verdict_line(case.outcome), f"sheet: {out} ({len(page.encode()) / 1e6:.1f} MB)"]
        print_lines([*lines, *(tone_lines(tones, wav) if wav else [])])
    return 1 if case.outcome.status == BROKEN else 0


def write_check_sheet(
    folder: Path, subject: "Subject", result: "CheckResult", coverage: "Coverage | None" = None
) -> Path:
    """Write the sheet of a check to `folder`: check.html, and pages of its own for what is too large.

    Findings are run once more, each with what it was found on. Raises UsageError where it cannot be written.
    """
    from dryspin.cli.drawing import case_of_finding
    from dryspin.cli.output import Bar, write_whole
    from dryspin.errors import UsageError
    from dryspin.report.sheet import check_page

    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UsageError(
            f"--report {folder}: cannot be created ({error.strerror}); give another folder"
        ) from None
    found = {saved.path.resolve(): (saved.path, saved.finding) for saved in result.findings}
    for kept in result.still_broken:
        found.setdefault(kept.path.resolve(), (kept.path, kept.replay.finding))
    with Bar() as bar:

        def cases() -> "Iterator[Case]":
            for k, (path, finding) in enumerate(found.values()):
                bar.notice("findings drawn", k, len(found))
                yield case_of_finding(subject, path, finding, None)

        text, outside = check_page(result, cases(), subject.drive, coverage)
    for name, page in outside.items():
        write_whole(folder / name, page)
    write_whole(folder / "check.html", text)
    return folder / "check.html"


def require_folder(folder: Path | None) -> None:
    """Raise UsageError unless `folder` can be made and written, and the drawing libraries are there."""
    from dryspin.errors import UsageError
    from dryspin.findings import require_writable
    from dryspin.report.sheet import require_libraries

    if folder is None:
        return
    require_libraries()
    if folder.exists() and not folder.is_dir():
        raise UsageError(f"--report {folder}: is a file; give the name of a folder")
    require_writable(folder, "--report")
