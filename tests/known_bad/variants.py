"""The known-bad firmwares as the tests see them: what the index says, and how they and the good one fare."""

from dataclasses import replace
from functools import cache
from pathlib import Path

from dryspin.build import build_image
from dryspin.findings import Finding, Replay, Subject, Trial, file_stem, load_subject, read_finding, replay_on
from dryspin.known_bad import Variant, read_index

from ..small_firmware import BOW_THRUSTER

KNOWN_BAD = BOW_THRUSTER.parent / "known_bad"

_INDEX = {variant.name: variant for variant in read_index(KNOWN_BAD)}

CODE = sorted(name for name, variant in _INDEX.items() if variant.fault_kind)
"""Those that the checked build must object to: no recording shows what is wrong."""

UNSEEN = sorted(name for name, variant in _INDEX.items() if variant.unseen)
"""Those that nothing objects to, by the index: there is no scenario to keep."""

NAMES = sorted(set(_INDEX) - set(CODE) - set(UNSEEN))


def head(name: str) -> Variant:
    """What the variant is for, as the index has it."""
    return _INDEX[name]


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
