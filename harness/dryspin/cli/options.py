"""Options that several commands share: the same word means the same everywhere."""

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

DIRECTORY = click.Path(path_type=Path)
FILE = click.Path(path_type=Path, dir_okay=True)

Command = TypeVar("Command", bound=Callable[..., Any])

drive_option = click.option(
    "--drive",
    "drive_file",
    type=FILE,
    metavar="FILE",
    help="A drive file instead of FIRMWARE_DIR/drive.toml.",
)

workers_option = click.option(
    "--workers",
    type=click.IntRange(1, 256),
    metavar="N",
    help="Processes; as many as there are cores by default. Never changes the result.",
)

json_option = click.option(
    "--json", "json_file", type=FILE, metavar="FILE", help="Write the result as JSON, too."
)

families_option = click.option(
    "--only", multiple=True, metavar="FAMILY", help="Search this family only; may be given several times."
)

save_option = click.option(
    "--save",
    type=DIRECTORY,
    metavar="DIR",
    help="Where findings go. By default ./traces/found if it exists, else FIRMWARE_DIR/found.",
)


def seed_option(changes: str, largest: int = 2**63 - 1) -> Callable[[Command], Command]:
    """--seed, 0 by default; `changes` says what another one changes."""
    return click.option(
        "--seed",
        type=click.IntRange(0, largest),
        default=0,
        show_default=True,
        metavar="N",
        help=f"Another seed, {changes}; the same seed, the same result.",
    )
