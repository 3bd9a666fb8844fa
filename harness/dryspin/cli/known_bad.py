"""`dryspin known-bad`: whether a check finds out firmwares that are wrong on purpose."""

from pathlib import Path

import click

from dryspin.cli.options import DIRECTORY, json_option, seed_option, workers_option


@click.command("known-bad", context_settings={"help_option_names": ["-h", "--help"]})
@click.argument("folder", type=DIRECTORY, default=Path("firmware_under_test/known_bad"))
@click.option(
    "--scenarios",
    type=click.IntRange(1, 1_000_000),
    default=1000,
    show_default=True,
    metavar="N",
    help="Scenarios for each firmware, at most.",
)
@seed_option("other scenarios")
@click.option(
    "--only", multiple=True, metavar="NAME", help="Try this firmware only; may be given several times."
)
@workers_option
@json_option
def known_bad(
    folder: Path,
    scenarios: int,
    seed: int,
    only: tuple[str, ...],
    workers: int | None,
    json_file: Path | None,
) -> int:
    """Find out whether wrong firmwares are found out.

    FOLDER holds firmwares that are wrong in one way each, and variants.toml, which says what is
    wrong and which claim must object; by default firmware_under_test/known_bad. Each is put to the
    scenarios of a check, one family after the other in turn, until that claim objects; then the
    scenario is shortened. What was found in them before is not looked at.

    The table says which were found, by which claim, how many scenarios and simulated seconds it
    took, and how many events the shortest scenario has. Those that the index calls unseen may be
    missed; rare ones, which scenarios drawn at random seldom show, may not. It is the tester that is
    tested: nothing here is a permission to spin, and these firmwares are never to be flashed.

    Exits with 0 if all that are not unseen were found, with 1 if one was missed, or one
    found that the index calls unseen, with 2 if it could not run.
    """
    from dryspin.cli.output import Bar, print_lines, require_writable_file, write_whole
    from dryspin.drive.document import suggestion
    from dryspin.errors import UsageError
    from dryspin.known_bad import read_index, try_all
    from dryspin.report import json_text
    from dryspin.report.known_bad import attempts_json, attempts_lines

    require_writable_file(json_file, "--json")
    variants = read_index(folder)
    names = [variant.name for variant in variants]
    for name in only:
        if name not in names:
            raise UsageError(
                f"--only {name}: no such firmware in {folder}. {suggestion(name, names, 'firmware')}"
            )
    chosen = [variant for variant in variants if not only or variant.name in only]
    with Bar() as bar:
        attempts = try_all(chosen, scenarios=scenarios, seed=seed, workers=workers, notice=bar.notice)
    if json_file is not None:
        write_whole(json_file, json_text(attempts_json(attempts)))
    print_lines(attempts_lines(attempts))
    return 1 if attempts.missed or attempts.seen_after_all else 0
