"""`dryspin timing`: what handlers take on the part, and what verdicts owe to it."""

from pathlib import Path

import click

from dryspin.cli.options import DIRECTORY, FILE, drive_option


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.argument("firmware_dir", type=DIRECTORY)
@click.argument("scenario_files", metavar="[SCENARIO]...", type=FILE, nargs=-1)
@drive_option
@click.option(
    "--factors",
    default="0.5,1,2",
    metavar="LIST",
    show_default=True,
    help="Factors on the cycles of code, 0.1 to 10, for the verdicts at each.",
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of text.")
def timing(
    firmware_dir: Path,
    scenario_files: tuple[Path, ...],
    drive_file: Path | None,
    factors: str,
    as_json: bool,
) -> int:
    """Measure what handlers take on the part.

    The sources are compiled for the part named in drive.toml, and each source line is charged with
    the cycles of its instructions there, whatever [controller] code_cycles says. Then the scenarios
    are run, by default full stick both ways on the highest supply, once with the lightest load and
    once with the heaviest.

    Told are, per handler, its longest and mean time and its share at top speed; the longest stretch
    with interrupts off; the work of a step, and the highest speed at which every commutation meets its
    deadline, by the handlers' cycles and by what came late; the stack, by what had interrupted what,
    against the part's memory; and which verdicts change if all code took half as long, or twice.

    For whole checks with these cycles write code_cycles = "object code" into [controller], and
    code_cycles_factor for a factor.

    Exits with 0 if no claim broke and the stack fits, with 1 if not (at factor 1), with 2 if it could
    not run or avr-gcc is missing. It has not been on a board: a pass is no permission to spin.
    """
    from dryspin.cli.charging import factors_of
    from dryspin.cli.output import Bar, print_lines
    from dryspin.findings import BROKEN, load_subject
    from dryspin.report.json import json_text
    from dryspin.report.timing import timing_json, timing_lines
    from dryspin.scenario import read_scenario
    from dryspin.timing import full_stick, measure

    wanted = factors_of(factors, "--factors")
    given = [read_scenario(path) for path in scenario_files]
    subject = load_subject(firmware_dir, drive_file)
    with Bar() as bar:
        measured = measure(
            subject,
            given or full_stick(subject.drive),
            wanted,
            lambda done, total: bar.notice("runs", done, total),
        )
    if as_json:
        click.echo(json_text(timing_json(measured)), nl=False)
    else:
        print_lines(timing_lines(measured))
    broken = any(
        isinstance(trial, str) or any(outcome.status == BROKEN for outcome in trial.outcomes)
        for trial in measured.plain.trials
    )
    return 1 if broken or not measured.fits else 0
