"""`claims.toml`: which claims are declared, limits that differ from the default, suppressions."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from dryspin.drive.document import Document, read_document, suggestion
from dryspin.drive.keys import Key, Number, Text, Texts
from dryspin.drive.model import Drive
from dryspin.drive.overlay import overlaid_file
from dryspin.drive.section import Section
from dryspin.errors import ClaimsError

CLAIMS_FILE = "claims.toml"

TOP: tuple[Key, ...] = (
    Texts(name="declared", meaning="the families or single claims (family.claim) the firmware is held to"),
)
LIMIT: tuple[Key, ...] = (
    # margins are shares of their limit
    Number(name="value", above=0.0, meaning="the limit, in the unit of the default"),
    Text(name="why", meaning="the reason the default does not fit this drive"),
)
SUPPRESSION: tuple[Key, ...] = (
    Text(name="claim", meaning="the claim (family.claim) not to be reported"),
    Text(name="why", meaning="the reason it is not reported"),
)


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit of this drive that differs from the default, in the default's unit, and why."""

    value: float
    why: str


@dataclass(frozen=True, slots=True)
class Suppression:
    """A claim ("family.claim") whose violations are not reported, and why."""

    claim: str
    why: str


@dataclass(frozen=True)
class Claims:
    """What the firmware is held to.

    `declared` are full names, "family.claim", in the order of the known claims; `limits` is by
    limit name.
    """

    path: Path
    declared: tuple[str, ...]
    limits: Mapping[str, Limit] = field(default_factory=dict, hash=False)
    suppressions: tuple[Suppression, ...] = ()


def claims_file(drive: Drive) -> Path:
    """The `claims.toml` of the drive's firmware, or of the nearest base that has one."""
    layers = drive.layers or (drive.path.parent,)
    path = overlaid_file(layers, CLAIMS_FILE)
    if path is None:
        looked = ", ".join(str(layer) for layer in layers)
        raise ClaimsError(f'{CLAIMS_FILE} is missing in {looked}. Add it with declared = ["gates"], say.')
    return path


def load_claims(path: Path, known_claims: Iterable[str], known_limits: Iterable[str]) -> Claims:
    """Read a claims file; raises `ClaimsError` for what is not among the known names.

    `known_claims` are full names, "family.claim"; a family declared stands for all its claims.
    """
    document = read_document(Path(path), ClaimsError, "claims file")
    claims, limits = tuple(known_claims), tuple(known_limits)
    top = Section.of(document, {k: v for k, v in document.data.items() if k not in ("limits", "suppress")})
    declared = _declared(top, top.read(TOP)["declared"], claims)
    return Claims(
        path=Path(path),
        declared=tuple(claim for claim in claims if claim in declared),
        limits=_limits(document, limits),
        suppressions=_suppressions(document, declared, claims),
    )


def _declared(top: Section, names: tuple[str, ...], known: tuple[str, ...]) -> set[str]:
    families = dict.fromkeys(claim.partition(".")[0] for claim in known)
    declared: set[str] = set()
    for name in names:
        meant = {claim for claim in known if claim == name or claim.partition(".")[0] == name}
        if not meant:
            family = name.partition(".")[0]
            near = known if "." in name and family in families else (*families, *known)
            listed = tuple(claim for claim in near if claim.startswith(family + ".")) or tuple(families)
            raise top.problem(
                "declared", f' holds "{name}", which is no family or claim. {_suggested(name, near, listed)}'
            )
        if meant <= declared:
            raise top.problem("declared", f' holds "{name}", which is declared already. Remove it.')
        declared |= meant
    return declared


def _limits(document: Document, known: tuple[str, ...]) -> dict[str, Limit]:
    tables = Section.of(document, document.data.get("limits", {}), "limits")
    limits = {}
    for name, table in tables.values.items():
        if name not in known:
            raise tables.problem(name, f" is not a known limit. {suggestion(name, known, 'limit')}")
        limits[name] = Limit(**Section.of(document, table, "limits", name).read(LIMIT))
    return limits


def _suppressions(document: Document, declared: set[str], known: tuple[str, ...]) -> tuple[Suppression, ...]:
    tables = document.data.get("suppress", [])
    if not isinstance(tables, list):
        raise ClaimsError(
            f"{document.where('suppress')}: suppress is not a list of tables. "
            "Write [[suppress]] with claim and why."
        )
    suppressions: list[Suppression] = []
    for number, table in enumerate(tables):
        section = Section.of(document, table, "suppress", number)
        given = Suppression(**section.read(SUPPRESSION))
        if given.claim not in known:
            raise section.problem(
                "claim", f' = "{given.claim}" is not a known claim. {suggestion(given.claim, known, "claim")}'
            )
        if given.claim not in declared:
            raise section.problem("claim", f' = "{given.claim}" is not declared. Remove the suppression.')
        if any(given.claim == other.claim for other in suppressions):
            raise section.problem("claim", f' = "{given.claim}" is suppressed twice. Remove one.')
        suppressions.append(given)
    return tuple(suppressions)


def _suggested(name: str, near: tuple[str, ...], listed: tuple[str, ...]) -> str:
    found = suggestion(name, near)
    return found if found.startswith("Did") else suggestion(name, listed, "name")
