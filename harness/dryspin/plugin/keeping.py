"""What a failed test leaves behind: a finding for each claim that broke, else the scenario it died of."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from dryspin.errors import DryspinError
from dryspin.findings import BROKEN, Finding, findings_folder, save_finding
from dryspin.plugin.stand import ClaimBrokenError, Stand
from dryspin.report import happened_lines, verdict_line


def keep(error: BaseException, stand: Stand, item: pytest.Item) -> list[list[str]]:
    """Save what can be replayed of `error`; a page of text for each."""
    folder = folder_of(item.config, stand)
    try:
        broken = {found.outcome.claim: found for found in _claims_in(error)}
        if broken:
            return [_keep_finding(found, stand, folder) for found in broken.values()]
        if stand.last is not None:
            return [_keep_scenario(error, stand, folder, item)]
    except (DryspinError, OSError) as trouble:
        return [[f"what broke could not be kept: {trouble}"]]
    return []


def folder_of(config: pytest.Config, stand: Stand) -> Path:
    """traces/found of the root of the tests where it stands, else where a check would put it."""
    own = config.rootpath / "traces" / "found"
    here = Path.cwd()
    if own.is_dir():
        return own.relative_to(here) if own.is_relative_to(here) else own
    return findings_folder(stand.firmware.directory)


def _claims_in(error: BaseException) -> Iterator[ClaimBrokenError]:
    """Hypothesis raises a group where a test broke in several ways."""
    if isinstance(error, ClaimBrokenError):
        yield error
    elif isinstance(error, BaseExceptionGroup):
        for part in error.exceptions:
            yield from _claims_in(part)


def _keep_finding(found: ClaimBrokenError, stand: Stand, folder: Path) -> list[str]:
    subject = stand.firmware
    finding = Finding(
        expected=BROKEN,
        outcome=found.outcome,
        scenario=found.scenario,
        firmware=subject.directory,
        drive=subject.drive.path,
        hashes=dict(subject.hashes),
        digest=found.trial.digest,
    )
    path = save_finding(folder, finding)
    return [verdict_line(found.outcome), *happened_lines(found.outcome), f"replay: dryspin replay {path}"]


def _keep_scenario(error: BaseException, stand: Stand, folder: Path, item: pytest.Item) -> list[str]:
    """No claim to name: the scenario last run is what the assertion, or the crash, was about."""
    assert stand.last is not None
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / (re.sub(r"[^A-Za-z0-9]+", "-", item.name).strip("-") + ".scenario")
    # One of several processes may be writing the same test's: whole, or not at all.
    scratch = path.with_name(f".{path.name}.{id(stand)}")
    scratch.write_text(stand.last.to_toml(), encoding="utf-8")
    scratch.replace(path)
    subject = stand.firmware
    option = (
        "" if subject.drive.path == subject.directory / "drive.toml" else f" --drive {subject.drive.path}"
    )
    words = (str(error).strip().splitlines() or [type(error).__name__])[0]
    return [words, f"replay: dryspin run {subject.directory} {path}{option}"]
