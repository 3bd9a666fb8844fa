"""`dryspin mutate`: which changes of the control code no claim notices."""

from pathlib import Path

import click

from dryspin.cli.options import DIRECTORY, drive_option, json_option, seed_option, workers_option


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.argument("firmware_dir", type=DIRECTORY)
@click.option(
    "--file", "files", multiple=True, metavar="NAME", help="Change only this source; may be repeated."
)
@click.option(
    "--function",
    "functions",
    multiple=True,
    metavar="NAME",
    help="Only this function; may be repeated.",
)
@click.option(
    "--sample", type=click.IntRange(1), metavar="N", help="Try N of the changes, drawn by the seed; else all."
)
@click.option(
    "--scenarios",
    type=click.IntRange(1, 1_000_000),
    metavar="N",
    help="Scenarios for each change, at most; by default 8 for each declared family.",
)
@click.option(
    "--tests",
    multiple=True,
    type=click.Path(exists=True, path_type=Path),
    metavar="PATH",
    help="Tests of your own that take the firmware from pytest's --firmware, as fixtures of the plugin do: "
    "put to each change before any scenario. May be repeated.",
)
@click.option("--tests-only", is_flag=True, help="Only --tests, no scenarios.")
@seed_option("other scenarios and another sample")
@drive_option
@workers_option
@click.option("--killed", "killed_too", is_flag=True, help="List what was killed, too, each with its claim.")
@json_option
def mutate(
    firmware_dir: Path,
    files: tuple[str, ...],
    functions: tuple[str, ...],
    sample: int | None,
    scenarios: int | None,
    tests: tuple[Path, ...],
    tests_only: bool,
    seed: int,
    drive_file: Path | None,
    workers: int | None,
    killed_too: bool,
    json_file: Path | None,
) -> int:
    """Find out which mistakes the claims would not notice.

    The control code is changed in one place at a time: a comparison, a number by one, a sign, a
    statement left out, a named constant for its neighbour. Each change is built and put to --tests,
    to kept findings and then to the scenarios of a check, until a test fails or a claim objects (it
    is killed) or the scenarios are used up (it survives). Changes that do not build, or that give
    the same machine code at -O2, are counted and dropped; a scenario is left out where the changed
    expression comes out as before. The files themselves are never touched.

    Survivors are listed with file, line, before and after: places that the claims do not constrain,
    where a real mistake would pass a check unseen. A pass here is no permission to spin, either.

    Exits with 0 if no change survived, with 1 if one did, with 2 if it could not run. Needs
    pip install 'dryspin[mutate]'.
    """
    from dryspin.cli.output import Bar, print_lines, require_writable_file, write_whole
    from dryspin.errors import UsageError
    from dryspin.findings import load_subject
    from dryspin.mutate import mutate as run
    from dryspin.mutate.campaign import SURVIVED
    from dryspin.report import json_text
    from dryspin.report.mutate import campaign_json, campaign_lines

    require_writable_file(json_file, "--json")
    if tests_only and not tests:
        raise UsageError(
            "--tests-only without --tests leaves nothing to object; name tests with --tests PATH"
        )
    subject = load_subject(firmware_dir, drive_file)
    with Bar() as bar:
        campaign = run(
            subject,
            files=files,
            functions=functions,
            sample=sample,
            scenarios=scenarios,
            tests=tests,
            tests_only=tests_only,
            seed=seed,
            workers=workers,
            notice=bar.notice,
        )
    if json_file is not None:
        write_whole(json_file, json_text(campaign_json(campaign)))
    print_lines(campaign_lines(campaign, subject.drive, killed_too))
    return 1 if campaign.of(SURVIVED) else 0
