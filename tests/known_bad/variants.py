"""The known-bad firmwares as the tests see them: what their heads say, and how they and the good one fare."""

import re
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

from dryspin.build import build_image
from dryspin.findings import Finding, Replay, Subject, Trial, file_stem, load_subject, read_finding, replay_on

from ..small_firmware import BOW_THRUSTER

KNOWN_BAD = BOW_THRUSTER.parent / "known_bad"
NAMES = sorted(path.parent.name for path in KNOWN_BAD.glob("*/drive.toml"))

_CLAIM = r"([a-z_]+\.[a-z_]+)"


@dataclass(frozen=True)
class Head:
    """The comment that a variant's drive.toml begins with.

    claim  the one that must object
    also   further claims that object, with the reason
    """

    claim: str
    also: dict[str, str]


@cache
def head(name: str) -> Head:
    """What the variant is for, in its own words."""
    lines = (KNOWN_BAD / name / "drive.toml").read_text(encoding="utf-8").splitlines()
    comment = lines[: next(k for k, line in enumerate(lines) if not line.startswith("#"))]
    claims = [match[1] for line in comment if (match := re.fullmatch(rf"# {_CLAIM} must object\.", line))]
    also = (re.fullmatch(rf"# also objected to by {_CLAIM}: (.+)", line) for line in comment)
    assert len(claims) == 1, f"{name}: the head comment must say once: FAMILY.claim must object."
    return Head(claims[0], {match[1]: match[2] for match in also if match})


def kept(name: str) -> Path:
    """The finding beside the variant; others there are what somebody's own checks have found since."""
    return KNOWN_BAD / name / "found" / f"{file_stem(head(name).claim)}-1.toml"


@cache
def finding(name: str) -> Finding:
    """The same, read."""
    return read_finding(kept(name))


@cache
def _subject(name: str) -> Subject:
    return load_subject(KNOWN_BAD / name)


@cache
def wrong(name: str) -> Trial:
    """All claims on the kept scenario, with the variant."""
    return _subject(name).try_out(finding(name).scenario)


class _Tried:
    """A subject whose one scenario has been run already."""

    def __init__(self, name: str) -> None:
        self.hashes = _subject(name).hashes
        self.try_out = lambda _: wrong(name)


def replayed(name: str) -> Replay:
    """The kept finding today."""
    return replay_on(_Tried(name), finding(name))


@cache
def good(name: str) -> Trial:
    """All claims on the kept scenario, with the firmware that the variant changes, on the same drive."""
    subject = _subject(name)
    drive = replace(subject.drive, firmware=replace(subject.drive.firmware, change=()))
    image = build_image(drive, subject.directory)
    return Subject(subject.directory, drive, subject.claims, image, {}).try_out(finding(name).scenario)
