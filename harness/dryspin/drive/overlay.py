"""The files of a firmware whose directory stands on another, file by file.

A known-bad variant holds only the files it changes; the rest is its base's.
"""

from collections.abc import Iterable
from pathlib import Path

from dryspin.errors import DriveError


def overlaid_file(layers: Iterable[Path], name: str) -> Path | None:
    """The file of that relative name in the nearest layer that has it."""
    return next((layer / name for layer in layers if (layer / name).is_file()), None)


def overlaid_files(layers: tuple[Path, ...], patterns: Iterable[str]) -> dict[str, Path]:
    """Relative name to file, for all files that match a glob pattern, sorted by name.

    Raises `DriveError` for a pattern that matches no file in any layer, or leaves the directory.
    """
    found: dict[str, Path] = {}
    for pattern in patterns:
        parts = Path(pattern).parts
        if Path(pattern).is_absolute() or ".." in parts:
            raise DriveError(
                f"{layers[0]}: the pattern {pattern!r} leaves the firmware's directory. "
                "Give patterns relative to it; use [firmware] base for the files of another."
            )
        matches = {
            file.relative_to(layer).as_posix(): file
            for layer in reversed(layers)
            for file in layer.glob(pattern)
            if file.is_file()
        }
        if not matches:
            raise DriveError(
                f"{layers[0]}: no file matches {pattern!r}. Correct [firmware] sources, or add the file."
            )
        found |= matches
    return dict(sorted(found.items()))
