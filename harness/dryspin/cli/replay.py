"""`dryspin replay`: a finding on today's firmware."""

from pathlib import Path

import click

from dryspin.cli.check import DIRECTORY, FILE


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.argument("finding_file", metavar="FINDING", type=FILE)
@click.option(
    "--firmware",
    type=DIRECTORY,
    metavar="DIR",
    help="Run it on this firmware, with its drive.toml, instead of the one it was found in.",
)
def replay(finding_file: Path, firmware: Path | None) -> int:
    """Run the scenario of a finding on today's firmware.

    FINDING is a file that a check has saved. Says whether the claim is still broken, and whether
    firmware, drive, claims or build differ from those it was found with.

    Exits with 1 if the claim is still broken, with 0 if it holds now, with 2 if it could not run
    or the scenario no longer says anything about the claim.
    """
    from dryspin.cli.output import print_lines
    from dryspin.drive import load_drive
    from dryspin.errors import FindingError
    from dryspin.findings import BROKEN, HELD, read_finding
    from dryspin.findings import replay as rerun
    from dryspin.report import replay_lines

    finding = read_finding(finding_file)
    if firmware is None and not finding.firmware.is_dir():
        raise FindingError(
            f"{finding_file}: the firmware it was found in is not at {finding.firmware}: no such directory; "
            "put it there or name another with --firmware"
        )
    replayed = rerun(finding, firmware)
    drive = load_drive(firmware or finding.drive)
    print_lines(replay_lines(replayed, drive, finding_file))
    return {HELD: 0, BROKEN: 1}.get(replayed.outcome.status, 2)
