"""Which firmware the tests are about: option, configuration file, or the root of the tests."""

from pathlib import Path

import pytest

from dryspin.errors import UsageError
from dryspin.findings import Subject, load_subject

_STASH = pytest.StashKey[Subject]()


def chosen_firmware(config: pytest.Config) -> Subject:
    """The firmware named on the command line or in pytest's configuration, built once a session.

    Raises DryspinError where none is named, or where it cannot be built.
    """
    if _STASH not in config.stash:
        directory = _named(config, "firmware") or config.rootpath
        drive_file = _named(config, "drive")
        if not _is_named(config, "firmware") and not (directory / "drive.toml").is_file():
            raise UsageError(
                f"no firmware is named, and {directory} has no drive.toml; give --firmware DIR, or write "
                "dryspin_firmware = DIR into pytest's configuration file"
            )
        config.stash[_STASH] = load_subject(_from_here(directory), drive_file and _from_here(drive_file))
    return config.stash[_STASH]


def _is_named(config: pytest.Config, name: str) -> bool:
    return bool(config.getoption(name) or config.getini(f"dryspin_{name}"))


def _named(config: pytest.Config, name: str) -> Path | None:
    """A path of the command line is relative to where pytest was called, one of the file to the file."""
    if given := config.getoption(name):
        return config.invocation_params.dir / str(given)
    if written := config.getini(f"dryspin_{name}"):
        base = config.inipath.parent if config.inipath else config.rootpath
        return base / str(written)
    return None


def _from_here(path: Path) -> Path:
    """As short as it can be told, since it will stand in commands to copy."""
    here = Path.cwd()
    path = path.resolve()
    return path.relative_to(here) if path.is_relative_to(here) else path
