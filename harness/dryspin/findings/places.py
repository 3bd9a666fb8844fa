"""Where findings are kept, and which of those kept belong to a firmware."""

import tempfile
from pathlib import Path

from dryspin.errors import DryspinError, FindingError, UsageError
from dryspin.findings.file import read_finding, write_finding, write_new_finding
from dryspin.findings.finding import Finding, file_stem
from dryspin.findings.inspected import SHOWN_BY_A_RUN


def findings_folder(firmware_dir: Path, save: Path | None = None) -> Path:
    """`save` where given, else ./traces/found where it stands, else `found` beside the firmware."""
    if save is not None:
        return save
    here = Path("traces/found")
    return here if here.is_dir() else firmware_dir / "found"


def require_writable(folder: Path, option: str = "--save") -> None:
    """Raise UsageError unless a file can be created in `folder`; leaves nothing behind.

    Called before a long search, whose findings would otherwise have nowhere to go. `option` is the one
    that gives the folder.
    """
    standing = folder
    while not standing.exists() and standing != standing.parent:
        standing = standing.parent
    try:
        with tempfile.TemporaryFile(dir=standing):
            pass
    except OSError as error:
        raise UsageError(
            f"{'findings' if option == '--save' else 'the sheet'} cannot be written to {folder}: "
            f"{error.strerror or error}; give another folder with {option}"
        ) from None


def kept_findings(folder: Path, firmware_dir: Path, drive_file: Path) -> list[tuple[Path, Finding]]:
    """Findings of this firmware with this drive in `folder`, by name; FindingError names a file that is none.

    Findings of other firmware, or with another drive, are passed over: many may share a folder.
    """
    if not folder.is_dir():
        return []
    kept = [(path, read_finding(path)) for path in sorted(folder.glob("*.toml"))]
    ours = firmware_dir.resolve(), drive_file.resolve()
    return [
        (path, found) for path, found in kept if (found.firmware.resolve(), found.drive.resolve()) == ours
    ]


def save_finding(folder: Path, finding: Finding) -> Path:
    """Write a finding under the first free name of its claim; the same finding keeps its name.

    Several processes may save into one folder at the same time.
    Raises FindingError where the folder cannot be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise FindingError(
            f"{folder} cannot be created: {error.strerror}; give another with --save"
        ) from None
    number = 1
    while True:
        path = folder / f"{file_stem(finding.claim)}-{number}.toml"
        if not path.exists() and write_new_finding(path, finding):
            return path
        if _same(path, finding):
            write_finding(path, finding)
            return path
        number += 1


def _same(path: Path, finding: Finding) -> bool:
    try:
        kept = read_finding(path)
    except DryspinError:
        return False
    if finding.claim in SHOWN_BY_A_RUN and kept.outcome.source_line != finding.outcome.source_line:
        return False  # two faults may show in one scenario
    return (
        kept.claim == finding.claim
        and kept.scenario == finding.scenario
        and kept.firmware.resolve() == finding.firmware.resolve()
        and kept.drive.resolve() == finding.drive.resolve()
    )
