"""The firmware's files as the compiler is to see them: layers laid over each other, changes made."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from dryspin.drive import Change, Drive, overlaid_files
from dryspin.errors import BuildError, DriveError

REGISTER_SUFFIXES = (".c", ".cpp", ".cc", ".cxx", ".ino")
"""Sources that are compiled at register level."""


@dataclass(frozen=True)
class FirmwareText:
    """Files by name relative to the firmware's directory; `sources` are those to compile.

    `places` tells where each file was read, in which of the layers.
    """

    files: dict[str, bytes]
    sources: tuple[str, ...]
    places: dict[str, Path]


def firmware_text(drive: Drive, firmware_dir: Path) -> FirmwareText:
    """Read sources and headers of `drive`'s firmware. Raises BuildError where something is missing."""
    layers = drive.layers or (firmware_dir,)
    try:
        sources = overlaid_files(layers, drive.firmware.sources)
        headers = overlaid_files(layers, _header_patterns(drive, layers))
    except DriveError as problem:
        raise BuildError(str(problem)) from None
    suffixes = (".c",) if drive.pins is None else REGISTER_SUFFIXES
    compiled = tuple(name for name in sources if name.endswith(suffixes))
    if drive.pins is not None and (assembly := [name for name in sources if name.endswith((".S", ".s"))]):
        raise BuildError(
            f"{sources[assembly[0]]}: assembly is not run on this machine; write it in C, or leave "
            "it out of [firmware] sources"
        )
    if not compiled:
        raise BuildError(
            f"{firmware_dir}: [firmware] sources names no {suffixes[0]} file"
            f"{f' (nor {chr(32).join(suffixes[1:])})' if suffixes[1:] else ''}; correct it or add the sources"
        )
    places = {**headers, **sources}
    files = {name: _read(path) for name, path in places.items()}
    for change in drive.firmware.change:
        files[change.file] = _changed(files, change, drive.path)
    return FirmwareText(dict(sorted(files.items())), compiled, places)


def _header_patterns(drive: Drive, layers: tuple[Path, ...]) -> Iterator[str]:
    """Patterns of the include folders that match something: a folder without headers is no mistake."""
    kinds = ("*.h",) if drive.pins is None else ("*.h", "*.hpp")
    for folder in drive.firmware.include:
        for kind in kinds:
            pattern = f"{folder}/{kind}".removeprefix("./")
            if any(next(layer.glob(pattern), None) is not None for layer in layers):
                yield pattern


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as problem:
        raise BuildError(f"{path}: cannot be read ({problem.strerror})") from None


def _changed(files: dict[str, bytes], change: Change, drive_file: Path) -> bytes:
    text = files.get(change.file)
    if text is None:
        raise BuildError(
            f"{drive_file}: [firmware] change names {change.file}, which is no source or header of the "
            f"firmware; there are {', '.join(sorted(files))}"
        )
    before = change.before.encode()
    if (found := text.count(before)) != 1:
        shown = change.before.strip().splitlines()[0]
        raise BuildError(
            f"{drive_file}: [firmware] change: {shown!r} stands {found} times in {change.file}, not once; "
            "quote more of its surroundings, or follow the file's latest text"
        )
    return text.replace(before, change.after.encode())
