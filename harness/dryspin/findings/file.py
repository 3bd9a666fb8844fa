"""The finding file: TOML, versioned, read strictly, written at once or not at all.

Its last table, [scenario], is a scenario file with its own tables moved one level down, so that
the scenario reader (and nobody else) judges it; line numbers in messages stay those of the file.
"""

import json
import os
import re
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

from dryspin.drive.document import Document, read_document
from dryspin.drive.keys import LARGEST, Key, Number, Text
from dryspin.drive.section import Section
from dryspin.errors import FindingError, ScenarioError
from dryspin.findings.finding import EXPECTED, Finding
from dryspin.findings.trial import Outcome
from dryspin.scenario import Scenario, parse_scenario

FORMAT = 1
"""Version of the file format; the reader refuses any other."""

_WHAT = "finding file"

# What was seen may lie far beyond what a drive may be given.
_told = partial(Number, default=None, at_least=-LARGEST, at_most=LARGEST)

_HEAD: tuple[Key, ...] = (
    Number(name="dryspin_finding", meaning=f"the version of the format, {FORMAT}", whole=True),
    Text(name="claim", meaning="the full name of the claim, as in reversal.opposing_drive"),
    Text(name="expected", meaning="the verdict it is kept for", choices=EXPECTED),
    _told(name="margin", meaning="the margin seen, a share of the limit"),
    _told(name="limit", meaning="the limit the claim was held to"),
    _told(name="seen", meaning="the value that was seen"),
    Text(name="unit", meaning="the unit of limit and seen", default="", may_be_empty=True),
    _told(name="moment_s", meaning="the moment it broke", unit="s"),
    Text(name="text", meaning="one sentence on what happened", default="", may_be_empty=True),
    Text(name="source_line", meaning="the firmware line that acted", default="", may_be_empty=True),
    _told(name="search_seed", meaning="the seed of the check that found it", whole=True),
    Text(name="firmware", meaning="the firmware directory, relative to this file"),
    Text(name="drive", meaning="the drive file, relative to this file"),
    Text(name="digest", meaning="the digest of the recording"),
)

_HASHES: tuple[Key, ...] = (
    Text(name="firmware", meaning="the hash of the firmware's sources"),
    Text(name="drive", meaning="the hash of the drive file"),
    Text(name="claims", meaning="the hash of claims.toml"),
    Text(name="build", meaning="the hash of the build"),
    Text(name="costs", default="", may_be_empty=True, meaning="the hash of the part's object code",
         reason="plain code was not charged by it"),
)  # fmt: skip


def read_finding(path: Path) -> Finding:
    """The finding in `path`.

    Raises FindingError, with file, line and what to do, for anything that is not a finding file
    of this version, whole.
    """
    document = read_document(path, FindingError, _WHAT)
    if "dryspin_finding" not in document.data:
        raise FindingError(
            f"{path}: is not a {_WHAT}: it lacks dryspin_finding = {FORMAT}. Was another file given?"
        )
    version = document.data["dryspin_finding"]
    if version != FORMAT:
        raise FindingError(
            f"{document.where('dryspin_finding')}: dryspin_finding = {version}; this dryspin reads version "
            f"{FORMAT}. Replay it with the dryspin that wrote it, or search again."
        )
    tables = {name: document.data.get(name) for name in ("hashes", "scenario")}
    for name, table in tables.items():
        if table is None:
            raise FindingError(f"{path}: lacks the table [{name}]. Is the file cut off?")
    head = Section.of(document, {k: v for k, v in document.data.items() if k not in tables}).read(_HEAD)
    stored = Section.of(document, tables["hashes"], "hashes").read(_HASHES)
    hashes = {name: text for name, text in stored.items() if text}
    return Finding(
        expected=head["expected"],
        outcome=_outcome(head),
        scenario=_scenario(path, document),
        firmware=_from(path, head["firmware"]),
        drive=_from(path, head["drive"]),
        hashes=hashes,
        digest=head["digest"],
        search_seed=head["search_seed"],
    )


def write_finding(path: Path, finding: Finding) -> None:
    """Write the finding, or leave what was there; raises FindingError.

    A file that is not a finding is never replaced.
    """
    if path.exists():
        try:
            read_finding(path)
        except FindingError as reason:
            raise FindingError(
                f"{path} exists and is not a finding this dryspin can read ({reason}); it is left as it is. "
                "Move it away or choose another name."
            ) from None
    with _written_whole(path, finding) as scratch:
        scratch.replace(path)


def write_new_finding(path: Path, finding: Finding) -> bool:
    """Write the finding under a name that nobody has; False where somebody has, even this very moment.

    Raises FindingError where it cannot be written.
    """
    with _written_whole(path, finding) as scratch:
        try:
            path.hardlink_to(scratch)
        except FileExistsError:
            return False
        except OSError:
            # A file system without hard links; what is left is a moment between look and move.
            if path.exists():
                return False
            scratch.replace(path)
    return True


@contextmanager
def _written_whole(path: Path, finding: Finding) -> Iterator[Path]:
    """A file beside `path` that holds the finding, gone afterwards unless it was moved."""
    scratch = None
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        scratch = Path(name)
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(finding_text(finding, path.parent))
            file.flush()
            os.fsync(file.fileno())
        scratch.chmod(0o644)
        yield scratch
    except OSError as error:
        raise FindingError(f"{path}: cannot be written ({error.strerror}); choose another place") from None
    finally:
        if scratch is not None:
            scratch.unlink(missing_ok=True)


def finding_text(finding: Finding, folder: Path) -> str:
    """The file's content, its paths relative to the `folder` it will stand in."""
    outcome = finding.outcome
    head: dict[str, object] = {
        "dryspin_finding": FORMAT,
        "claim": finding.claim,
        "expected": finding.expected,
        "margin": outcome.margin,
        "limit": outcome.limit,
        "seen": outcome.seen,
        "unit": outcome.unit,
        "moment_s": outcome.moment_s,
        "text": outcome.text,
        "source_line": outcome.source_line,
        "search_seed": finding.search_seed,
        "firmware": _relative(finding.firmware, folder),
        "drive": _relative(finding.drive, folder),
        "digest": finding.digest,
    }
    lines = [f"{key} = {_value(value)}" for key, value in head.items() if value not in (None, "")]
    lines += ["", "[hashes]", *(f"{name} = {_value(text)}" for name, text in finding.hashes.items())]
    lines += ["", "[scenario]", _moved_down(finding.scenario.to_toml()).rstrip("\n"), ""]
    return "\n".join(lines)


def _outcome(head: dict[str, Any]) -> Outcome:
    names = ("claim", "margin", "moment_s", "limit", "seen", "unit", "text", "source_line")
    return Outcome(status="broken", **{name: head[name] for name in names})


def _scenario(path: Path, document: Document) -> Scenario:
    """Parse the text below [scenario] as a scenario file, blank lines standing for what is above."""
    lines = path.read_text(encoding="utf-8").replace("\r\n", "\n").split("\n")
    start = document.lines.get(("scenario",), 0)
    own = [*[""] * start, *lines[start:]]
    try:
        return parse_scenario(_moved_up("\n".join(own)), str(path))
    except ScenarioError as error:
        raise FindingError(f"{error} (in the [scenario] of this finding)") from None


def _moved_down(scenario_text: str) -> str:
    return re.sub(r"(?m)^(\[\[?)(?=[a-z])", r"\1scenario.", scenario_text)


def _moved_up(text: str) -> str:
    return re.sub(r"(?m)^(\s*\[\[?\s*)scenario\s*\.\s*", r"\1", text)


def _value(value: object) -> str:
    """A TOML value. A JSON string is a TOML string but for DEL, which no text of ours holds."""
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str) else repr(value)


def _relative(target: Path, folder: Path) -> str:
    return Path(os.path.relpath(target.resolve(), folder.resolve())).as_posix()


def _from(path: Path, relative: str) -> Path:
    """A stored path as seen from here: short where it lies below, without `..` in the middle."""
    absolute = Path(os.path.normpath(path.parent.resolve() / relative))
    return Path(os.path.relpath(absolute))
