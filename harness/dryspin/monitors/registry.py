"""The families, found by looking: a module of this package with `CLAIMS` is one.

To add a family, add a file with `ORDER` (its place among the others) and `CLAIMS` (a tuple of
`Claim`); its name is the module's.
"""

import importlib
import pkgutil
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from types import ModuleType

from dryspin.drive import Claims
from dryspin.errors import ClaimsError
from dryspin.monitors.claim import Claim, Needs
from dryspin.monitors.evidence import Evidence
from dryspin.monitors.limits import Limits
from dryspin.monitors.verdict import Ruling, Status, Verdict
from dryspin.recording import Recording, Signal

_PACKAGE = "dryspin.monitors"


def _find_families() -> dict[str, ModuleType]:
    names = [module.name for module in pkgutil.iter_modules([str(Path(__file__).parent)])]
    modules = {n: importlib.import_module(f"{_PACKAGE}.{n}") for n in names if n != "registry"}
    families = {name: module for name, module in modules.items() if hasattr(module, "CLAIMS")}
    return dict(sorted(families.items(), key=lambda item: (item[1].ORDER, item[0])))


FAMILIES: Mapping[str, ModuleType] = _find_families()
"""Family name -> its module, in the order of reports."""


def claims_of(family: str) -> tuple[Claim, ...]:
    """The claims of a family, in the order of reports."""
    claims: tuple[Claim, ...] = FAMILIES[family].CLAIMS
    return claims


def known_claims() -> tuple[str, ...]:
    """Full names, "family.claim", of all claims, in the order of reports."""
    return tuple(f"{family}.{claim.name}" for family in FAMILIES for claim in claims_of(family))


def judge(recording: Recording, claims: Claims | None = None) -> list[Verdict]:
    """One verdict for every declared claim (all known ones without `claims`), in a fixed order.

    Raises `ClaimsError` where `claims` names a claim or limit that does not exist.
    """
    declared = known_claims() if claims is None else claims.declared
    unknown = sorted(set(declared) - set(known_claims()))
    if unknown:
        raise ClaimsError(f"no such claim: {', '.join(unknown)}; known are {', '.join(known_claims())}")
    evidence = Evidence(recording, Limits(recording.drive, claims))
    verdicts = []
    for family in FAMILIES:
        for claim in claims_of(family):
            if f"{family}.{claim.name}" in declared:
                lacking = _lacking(claim.needs, recording)
                ruling = Ruling(Status.CANNOT_TELL, text=lacking) if lacking else claim.check(evidence)
                verdicts.append(Verdict(family, claim.name, **asdict(ruling)))
    return verdicts


def _lacking(needs: Needs, recording: Recording) -> str:
    """What the recording lacks for a check, as a sentence; empty where it lacks nothing."""
    if Needs.PINS in needs and not recording.seen(Signal.GATE_U):
        return "the recording has no edges of the FETs"
    if Needs.ANALOG in needs and not len(recording.states):
        return "the recording has no currents and no bus voltage"
    if Needs.INSIDE in needs:
        if not (recording.seen(Signal.MARK) and recording.seen(Signal.LEG_U)):
            return "the recording has no commands and no marks of the firmware"
        if not len(recording.states):
            return "the recording has no rotor"
    return ""
