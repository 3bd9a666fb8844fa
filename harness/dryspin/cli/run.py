"""`dryspin run`: one scenario, and what the monitors say about it."""

from pathlib import Path

import click

from dryspin.cli.export import Exports, export_options
from dryspin.cli.options import DIRECTORY, FILE, drive_option


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.argument("firmware_dir", type=DIRECTORY)
@click.argument("scenario_file", metavar="SCENARIO", type=FILE)
@click.option(
    "--plant",
    type=click.Choice(["twin", "equations"]),
    default="twin",
    show_default=True,
    help="The compiled twin, or the plain equations in Python (some thousand times slower).",
)
@drive_option
@click.option(
    "--out", type=FILE, metavar="FILE", help="Save the recording (.npz); about 11 MB a simulated second."
)
@export_options
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of text.")
def run(
    firmware_dir: Path,
    scenario_file: Path,
    plant: str,
    drive_file: Path | None,
    out: Path | None,
    vcd: Path | None,
    csv: Path | None,
    step_us: float | None,
    from_s: float,
    to_s: float | None,
    wav: Path | None,
    as_json: bool,
) -> int:
    """Run one scenario and judge it.

    SCENARIO is a TOML file that says what happens from power-on: throttle pulses, supply, load,
    rest angle, part tolerances, resets. The verdict of every declared claim is printed, with the
    top speed and the largest phase current.

    Exits with 0 if no claim broke, with 1 if one did, with 2 if it could not run. A claim that
    this scenario does not exercise is said to be so; it takes a check to exercise all of them.
    """
    from dryspin.cli.output import Bar, print_lines, require_writable_file
    from dryspin.findings import BROKEN, load_subject
    from dryspin.recording import save_recording
    from dryspin.report import json_text, run_json, run_lines
    from dryspin.report.extremes import extremes_of
    from dryspin.report.sound import tone_lines, tones_json
    from dryspin.scenario import read_scenario

    require_writable_file(out, "--out")
    exports = Exports(vcd, csv, wav, step_us, from_s, to_s)
    exports.check()
    scenario = read_scenario(scenario_file)
    subject = load_subject(firmware_dir, drive_file)
    end_ms = int(scenario.end_s * 1000)
    with Bar() as bar:
        recording = subject.record(scenario, plant, lambda t_s: bar.notice("ms", int(t_s * 1000), end_ms))
        trial = subject.judge(recording)
        if out is not None:
            save_recording(recording, out)
        tones = exports.write(recording, bar.notice)
    extremes = extremes_of(recording)
    if as_json:
        data = run_json(trial, extremes, subject.hashes)
        click.echo(json_text(data | ({"tones": tones_json(tones)} if wav else {})), nl=False)
    else:
        lines = run_lines(trial, extremes, scenario, subject.drive)
        print_lines([*lines, *(tone_lines(tones, wav) if wav else [])])
    return 1 if any(outcome.status == BROKEN for outcome in trial.outcomes) else 0
