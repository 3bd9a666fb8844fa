"""`dryspin judge`: a capture from the real bench before the same monitors."""

from pathlib import Path

import click

from dryspin.cli.options import FILE


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.argument("capture_file", metavar="CAPTURE", type=FILE)
@click.option(
    "--map",
    "map_file",
    required=True,
    type=FILE,
    metavar="FILE",
    help="Which channel is which signal, with polarity, delay and skew (TOML).",
)
@click.option(
    "--drive",
    "drive_file",
    required=True,
    type=FILE,
    metavar="FILE",
    help="The drive that was captured: its drive.toml. claims.toml beside it says what is declared.",
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of text.")
def judge(capture_file: Path, map_file: Path, drive_file: Path, as_json: bool) -> int:
    """Measure and judge a capture of the real drive.

    CAPTURE is a CSV file of an oscilloscope or a logic analyser, or a value change dump. Two
    terminals against ground, on two probes, are enough for step order, chop frequency,
    demagnetisation time, crossing and regularity of the steps; all six gates for dead time, overlap
    and on-time of the FETs. How to probe, and a map to begin with: harness/dryspin/capture/README.md.

    Claims that the capture shows enough for are judged, the others are "not seen". What lies nearer to
    its limit than samples and skew can resolve is "cannot tell". Patterns read from voltages, and the
    rotor, are estimates and marked so.

    Exits with 0 if no judged claim broke, with 1 if one did, with 2 if it could not run or nothing
    could be judged. Probe with the propeller off and a current-limited supply; a scope's ground clip
    is a short to whatever it touches.
    """
    from dryspin.capture import figures_of, judge_capture, read, read_capture, read_map
    from dryspin.cli.output import Bar, print_lines
    from dryspin.drive import claims_file, load_claims, load_drive
    from dryspin.monitors import Status, known_claims, known_limits
    from dryspin.report import json_text
    from dryspin.report.capture import capture_json, capture_lines

    drive = load_drive(drive_file)
    claims = load_claims(claims_file(drive), known_claims(), known_limits())
    mapped = read_map(map_file)
    with Bar() as bar:
        capture = read_capture(capture_file, mapped, drive, bar.notice)
        reading = read(capture, drive)
        verdicts = judge_capture(reading, claims)
    figures = figures_of(reading)
    if as_json:
        click.echo(json_text(capture_json(reading, figures, verdicts)), nl=False)
    else:
        print_lines(capture_lines(reading, figures, verdicts))
    if any(verdict.status == Status.BROKEN for verdict in verdicts):
        return 1
    return 0 if any(verdict.told for verdict in verdicts) else 2
