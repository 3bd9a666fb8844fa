"""`dryspin soak`: a long search that goes on where it was."""

from pathlib import Path

import click

from dryspin.cli.options import (
    DIRECTORY,
    drive_option,
    families_option,
    json_option,
    save_option,
    seed_option,
    workers_option,
)


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.argument("firmware_dir", type=DIRECTORY)
@click.option(
    "--scenarios",
    type=click.IntRange(1, 1_000_000_000),
    default=10_000,
    show_default=True,
    metavar="N",
    help="Scenarios in all, those of earlier commands included.",
)
@click.option(
    "--simulated-s",
    type=click.FloatRange(min=0.0, min_open=True),
    metavar="S",
    help="End once so many seconds are simulated, even with fewer scenarios.",
)
@seed_option("other scenarios", 2**40)
@drive_option
@families_option
@workers_option
@click.option(
    "--folder", type=DIRECTORY, metavar="DIR", help="Where its journal is; by default FIRMWARE_DIR/soak."
)
@json_option
@save_option
def soak(
    firmware_dir: Path,
    scenarios: int,
    simulated_s: float | None,
    seed: int,
    drive_file: Path | None,
    only: tuple[str, ...],
    workers: int | None,
    folder: Path | None,
    json_file: Path | None,
    save: Path | None,
) -> int:
    """Search for as long as wanted, in pieces.

    Like check, but every twenty scenarios are written down when they are done: killed, or out of room, it
    goes on with the same command, and nothing found is lost. A claim that breaks is shortened and kept at
    once; the same claim at the same line of firmware is one finding. A crash of the firmware, or of a
    worker, is kept with its scenario and is not the end. With other firmware, drive, claims or seed it begins
    anew.

    Budgets are scenarios and simulated seconds, so the result is the same on any machine. A pass is no
    permission to spin.

    Exits with 0 if every declared claim was exercised and held, with 1 if one broke, was not exercised or a
    scenario could not be run, with 2 if the soak could not go on, with 130 if interrupted.
    """
    import time

    from dryspin.cli.output import Bar, print_lines, require_writable_file, write_whole
    from dryspin.findings import findings_folder, load_subject, require_writable
    from dryspin.report import json_text
    from dryspin.report.soak import soak_json, soak_lines
    from dryspin.soak import soak as search

    begun_s = time.monotonic()
    require_writable_file(json_file, "--json")
    subject = load_subject(firmware_dir, drive_file)
    require_writable(findings_folder(firmware_dir, save))
    try:
        with Bar() as bar:
            result = search(
                subject,
                scenarios=scenarios,
                seed=seed,
                simulated_s=simulated_s,
                only=only,
                workers=workers,
                folder=folder,
                save=save,
                notice=bar.notice,
            )
    except KeyboardInterrupt:
        click.echo("interrupted; what is done is kept, the same command goes on from there", err=True)
        return 130
    wall_s = time.monotonic() - begun_s
    if json_file is not None:
        write_whole(json_file, json_text(soak_json(result, wall_s)))
    print_lines(soak_lines(result, subject.drive, wall_s))
    return 0 if result.passed else 1
