"""`python -m firmware_under_test.targets`: build for the part, measure, judge."""

import sys
import tempfile
from pathlib import Path

import click

from dryspin.drive import load_drive
from dryspin.errors import DryspinError
from firmware_under_test.targets.measure import measure
from firmware_under_test.targets.report import as_json, text
from firmware_under_test.targets.toolchain import HERE, build


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.argument(
    "firmware_dir",
    type=click.Path(path_type=Path, exists=True, file_okay=False),
    default=HERE.parent / "bow_thruster",
)
@click.option(
    "--drive",
    "drive_files",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    multiple=True,
    help="A drive whose shortest step limits the work of one; several are all kept to. Default: drive.toml.",
)
@click.option("--json", "json_wanted", is_flag=True, help="Print JSON instead of a table.")
@click.option(
    "--keep",
    type=click.Path(path_type=Path, file_okay=False),
    help="Leave program.elf, objects and frame sizes in this folder, which must be empty or new.",
)
def main(firmware_dir: Path, drive_files: tuple[Path, ...], json_wanted: bool, keep: Path | None) -> int:
    """Build FIRMWARE_DIR for the ATmega168 and measure its object code.

    Exits with 0 if every limit holds, with 1 if one is broken, with 2 if it cannot be told: no
    compiler for the part (the message says what to install), code that is refused or not measurable.
    """
    try:
        drives = [load_drive(file) for file in drive_files] or [load_drive(firmware_dir)]
        with tempfile.TemporaryDirectory() as scratch:
            folder = keep or Path(scratch)
            folder.mkdir(parents=True, exist_ok=True)
            if any(folder.iterdir()):
                raise click.UsageError(f"{folder} is not empty; name an empty or new folder")
            measures = measure(build(drives[0], firmware_dir, folder), firmware_dir, drives)
    except (DryspinError, OSError) as problem:
        click.echo(str(problem), err=True)
        return 2
    click.echo(as_json(measures) if json_wanted else text(measures))
    return 0 if measures.held else 1


if __name__ == "__main__":
    sys.exit(main(standalone_mode=False))
