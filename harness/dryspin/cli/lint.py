"""`dryspin lint`: what can be said of the firmware without running it."""

from pathlib import Path

import click

from dryspin.cli.options import DIRECTORY, drive_option


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.argument("firmware_dir", type=DIRECTORY)
@drive_option
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of text.")
def lint(firmware_dir: Path, drive_file: Path | None, as_json: bool) -> int:
    """Look at the firmware without running it.

    The sources are built as for the rig, which refuses calls of anything whose state it could not put
    back (heap, random numbers, clock, files), with symbol and line. Then the compiler of the part
    reads them, where avr-gcc is installed (else clang): its warnings, with the part's 16-bit int, and
    the most that variables and stack can take of the part's memory.

    Of firmware written for registers ([pins] in drive.toml), variables that a handler shares with the main
    line and that are not volatile are listed to look at, besides.

    Races, overflow and steps beyond variables take a run: dryspin check.

    Exits with 0 if there is nothing to say, with 1 for a warning or too little memory, with 2 if the
    firmware does not build. Nothing found is no permission to spin.
    """
    from dryspin.cli.output import print_lines
    from dryspin.findings import load_subject
    from dryspin.lint import look
    from dryspin.report.json import json_text
    from dryspin.report.lint import lint_json, lint_lines

    subject = load_subject(firmware_dir, drive_file)
    looked = look(subject.drive, firmware_dir)
    if as_json:
        click.echo(json_text(lint_json(looked)), nl=False)
    else:
        print_lines(lint_lines(looked))
    return 0 if looked.clean else 1
