"""`dryspin check`: search for broken claims."""

from pathlib import Path

import click

from dryspin.cli.options import (
    DIRECTORY,
    FILE,
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
    type=click.IntRange(1, 1_000_000),
    metavar="N",
    help="Scenarios to run, split evenly over the declared families; by default 40 for each.",
)
@seed_option("other scenarios")
@drive_option
@families_option
@workers_option
@json_option
@click.option(
    "--report",
    "report_folder",
    type=DIRECTORY,
    metavar="DIR",
    help="Write a sheet, too: DIR/check.html, with every finding's run to zoom into.",
)
@click.option(
    "--against",
    "earlier_file",
    type=FILE,
    metavar="OLD.json",
    help="Object to what has been lost since this result of an earlier check (its --json).",
)
@save_option
@click.option(
    "--code-cycles-factors",
    metavar="LIST",
    help="Run all scenarios again with the cycles of the part's object code times each of these, as 0.5,2, "
    "and list the claims whose verdict changes. Needs avr-gcc.",
)
@click.option(
    "--coverage",
    "coverage_file",
    type=FILE,
    metavar="FILE",
    help="Tell which lines and branches were reached; into FILE as Cobertura (.xml) or as an lcov tracefile.",
)
def check(
    firmware_dir: Path,
    scenarios: int | None,
    seed: int,
    drive_file: Path | None,
    only: tuple[str, ...],
    workers: int | None,
    json_file: Path | None,
    report_folder: Path | None,
    earlier_file: Path | None,
    save: Path | None,
    code_cycles_factors: str | None,
    coverage_file: Path | None,
) -> int:
    """Search for scenarios that break a declared claim.

    FIRMWARE_DIR holds the C sources, drive.toml (motor, board, supply and how the firmware is
    built) and claims.toml (what it is held to). Kept findings of this firmware are replayed first.
    Then scenarios are tried: throttle, supply, load, rest angle, part tolerances, bad pulses and
    resets, inside what drive.toml declares, steered to where margins are thin. Whatever breaks is
    shortened and saved as a finding.

    One in five of the planned scenarios is run once more with a checked build, which looks at the C
    itself: variables shared with handlers and torn, lost or kept in a register; overflow, shifts,
    indexes, null pointers; steps beyond a variable. A variable that is shared rightly in a way
    that looks wrong is explained in drive.toml: [[shared]], variable and why.

    With --against, claims that are newly broken, no longer exercised or declared, or that have lost
    more than a tenth of their limit in margin, are objected to. Give both checks the same seed and
    number of scenarios, or the search's luck will show.

    Plain code takes no time unless [controller] in drive.toml says so, and nobody knows its cycles exactly.
    With --code-cycles-factors, the same scenarios are judged again with the cycles of the code as the part's
    compiler makes it, times each factor; a scenario is kept for each claim that breaks only then. The exit
    code is that of the check itself.

    Exits with 0 if every declared claim was exercised and held, with 1 if one broke, none of the
    scenarios exercised it, the C has a fault or something was lost, with 2 if it could not run. A
    pass is no permission to spin.
    """
    # Here and not above: --help must not wait for numpy and Hypothesis.
    from dryspin.cli.charging import charged_subjects, factors_of
    from dryspin.cli.covering import covering_of, tracefile
    from dryspin.cli.output import Bar, print_lines, require_writable_file, write_whole
    from dryspin.cli.report import require_folder, write_check_sheet
    from dryspin.coverage import with_marks
    from dryspin.errors import RigError
    from dryspin.faults import Inspector
    from dryspin.findings import findings_folder, load_subject, require_writable
    from dryspin.report import check_json, check_lines, json_text
    from dryspin.report.against import against_lines, objections, read_earlier
    from dryspin.report.coverage import coverage_lines
    from dryspin.search import ScenarioFailedError
    from dryspin.search import check as search
    from dryspin.search.handlers import HandlerWatch

    factors = factors_of(code_cycles_factors, "--code-cycles-factors")
    require_writable_file(json_file, "--json")
    require_folder(report_folder)
    require_writable_file(coverage_file, "--coverage")
    earlier = None if earlier_file is None else read_earlier(earlier_file)
    subject = load_subject(firmware_dir, drive_file)
    charged = charged_subjects(subject, factors)
    folder = findings_folder(firmware_dir, save)
    require_writable(folder)
    try:
        with Bar() as bar, covering_of(subject, coverage_file) as covering:
            searched = subject if covering is None else with_marks(subject, covering.image)
            result = search(
                searched,
                scenarios=scenarios,
                seed=seed,
                only=only,
                workers=workers,
                save=save,
                inspector=Inspector(subject.drive, firmware_dir),
                marked=covering,
                handlers=HandlerWatch(searched),
                charged=charged,
                notice=bar.notice,
            )
    except ScenarioFailedError as error:
        folder.mkdir(parents=True, exist_ok=True)
        path = folder / "could-not-run.scenario"
        write_whole(path, error.scenario.to_toml())
        raise RigError(f"{error}\nthe scenario is kept: dryspin run {firmware_dir} {path}") from None
    if json_file is not None:
        write_whole(json_file, json_text(check_json(result)))
    print_lines(check_lines(result, subject.drive))
    coverage = None if covering is None else covering.coverage(result.covered)
    if report_folder is not None:
        print_lines([f"sheet: {write_check_sheet(report_folder, subject, result, coverage)}"])
    if coverage is not None and coverage_file is not None:
        write_whole(coverage_file, tracefile(coverage, coverage_file, firmware_dir))
        print_lines(["", *coverage_lines(coverage)])
    if earlier is None:
        return 0 if result.passed else 1
    lost = objections(result, earlier)
    print_lines(["", *against_lines(lost, earlier)])
    return 0 if result.passed and not lost else 1
