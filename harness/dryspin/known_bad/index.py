"""The index of a folder of known-bad firmwares: what is wrong with each, and which claim must object."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from dryspin.drive.document import Document, read_document, suggestion
from dryspin.drive.keys import Key, MismatchError, Text, toml_text
from dryspin.drive.section import Section
from dryspin.errors import UsageError
from dryspin.faults.fault import INT_WIDTH, OUT_OF_BOUNDS, RACES, UNDEFINED
from dryspin.monitors import known_claims

INDEX = "variants.toml"
_TABLE = "variant"

CODE_CLAIMS = {
    f"code.{kind.replace(' ', '_')}": kind for kind in (*RACES, OUT_OF_BOUNDS, UNDEFINED, INT_WIDTH)
}
"""What the checked build says of the C, named as a claim -> the kind of fault. No recording shows it: on the
rig a read is never torn, on the part now and then."""


@dataclass(frozen=True)
class Variant:
    """One firmware that is wrong in one way.

    name   its directory, in that of the index
    wrong  what is wrong, in one sentence
    claim  the one that must object; of `CODE_CLAIMS` where it is the checked build that must
    also   further claims that may object, with the reason
    rare   how seldom scenarios drawn uniformly show it, empty where they often do; a check must find it all
           the same
    unseen why nothing objects to it; empty where something does. It is listed, and tried all the same
    """

    directory: Path
    name: str
    wrong: str
    claim: str
    also: Mapping[str, str] = field(hash=False)
    rare: str
    unseen: str = ""

    @property
    def fault_kind(self) -> str:
        """The kind of fault that the checked build must name; empty where a monitor must object."""
        return CODE_CLAIMS.get(self.claim, "")


@dataclass(frozen=True, kw_only=True)
class _Reasons(Key):
    """Claims, each with its reason."""

    def take(self, raw: object) -> dict[str, str]:
        if not isinstance(raw, Mapping) or not all(isinstance(v, str) and v.strip() for v in raw.values()):
            raise MismatchError(f"holds {toml_text(raw)}, not a table of claims and reasons")
        return dict(raw)


_KEYS: tuple[Key, ...] = (
    Text(name="name", meaning="the directory's name"),
    Text(name="wrong", meaning="one sentence that says what is wrong"),
    Text(name="claim", meaning='the claim that must object, such as "gates.dead_time"'),
    _Reasons(name="also", meaning="further claims that may object, each with its reason", default={},
             reason="one defect shows under one name"),
    Text(name="rare", meaning="how seldom scenarios drawn uniformly show it", default="",
         reason="they often do"),
    Text(name="unseen", meaning="why nothing objects to it, whatever is tried", default="",
         reason="a check must find it"),
)  # fmt: skip


def read_index(folder: Path) -> list[Variant]:
    """The variants of `folder` in the index's order.

    Raises UsageError for a folder or index that cannot be read, an unknown claim, a name that is
    twice there, a directory without an entry or the other way about.
    """
    if not folder.is_dir():
        raise UsageError(
            f"{folder}: no such directory; give the folder that holds {INDEX} and the known-bad firmwares"
        )
    document = read_document(folder / INDEX, UsageError, "list of known-bad firmwares")
    for name in document.data:
        if name != _TABLE:
            raise UsageError(f"{document.where(name)}: {name} is not a known table. Write [[{_TABLE}]].")
    tables = document.data.get(_TABLE, [])
    if not isinstance(tables, list) or not tables:
        raise UsageError(f"{document.source}: names no firmware; write [[{_TABLE}]] for each, with its keys")
    variants: list[Variant] = []
    for k, table in enumerate(tables):
        variants.append(_variant(folder, document, k, table, [variant.name for variant in variants]))
    listed = {variant.name for variant in variants}
    for path in sorted(folder.glob("*/drive.toml")):
        if path.parent.name not in listed:
            raise UsageError(
                f"{document.source}: has no [[{_TABLE}]] for {path.parent.name}, which stands beside it; "
                "say there what is wrong with it and which claim must object"
            )
    return variants


def _variant(folder: Path, document: Document, k: int, table: Any, names: list[str]) -> Variant:
    section = Section.of(document, table, _TABLE, k)
    values = section.read(_KEYS)
    claims = (*known_claims(), *CODE_CLAIMS)
    for key, given in (("claim", values["claim"]), *(("also", claim) for claim in values["also"])):
        if given not in claims:
            raise section.problem(key, f": {given} is no claim. {suggestion(given, claims, 'claim')}")
    name = values["name"]
    if name in names:
        raise section.problem("name", f" = {toml_text(name)} is there twice. Remove one.")
    if not (folder / name / "drive.toml").is_file():
        raise section.problem("name", f" = {toml_text(name)}: {folder / name} has no drive.toml. Correct it.")
    if values["rare"] and values["unseen"]:
        raise section.problem("unseen", " stands beside rare. What some scenario shows is not unseen.")
    return Variant(folder / name, **values)
