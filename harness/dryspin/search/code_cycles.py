"""The scenarios of a check once more with other cycles for the code: what its verdicts owe to them."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from dryspin.drive import Drive
from dryspin.findings import BROKEN, NOT_EXERCISED, Subject, Tries, file_stem, tried
from dryspin.scenario import Scenario
from dryspin.search.shrink import size
from dryspin.search.tally import Tally


@dataclass
class AtFactor:
    """What scenarios show with the part's object code charged `factor` times.

    breaking: by claim, the most readable scenario that broke it.
    """

    factor: float
    tallies: dict[str, Tally] = field(default_factory=dict)
    breaking: dict[str, Scenario] = field(default_factory=dict)

    def run(self, subject: Tries, scenario: Scenario) -> None:
        """Try one scenario on a subject that is charged so. Raises RigError where it cannot be run."""
        for outcome in tried(subject, scenario).outcomes:
            self.tallies.setdefault(outcome.claim, Tally()).add(outcome)
            if outcome.status == BROKEN:
                self._keep(outcome.claim, scenario)

    def merge(self, other: "AtFactor") -> None:
        """Count the scenarios of another in, which came later."""
        for claim, tally in other.tallies.items():
            self.tallies.setdefault(claim, Tally()).merge(tally)
        for claim, scenario in other.breaking.items():
            self._keep(claim, scenario)

    def verdict(self, claim: str) -> str:
        """Over all scenarios."""
        return self.tallies[claim].verdict if claim in self.tallies else NOT_EXERCISED

    def _keep(self, claim: str, scenario: Scenario) -> None:
        known = self.breaking.get(claim)
        if known is None or size(scenario) < size(known):
            self.breaking[claim] = scenario


def charged(subject: Subject, factor: float) -> Subject:
    """The same build with its plain code charged by the part's object code, `factor` times."""
    return replace(subject, drive=charged_drive(subject.drive, factor))


def charged_drive(drive: Drive, factor: float) -> Drive:
    """The drive with [controller] code_cycles = "object code" and that factor."""
    controller = replace(drive.controller, code_cycles="object code", code_cycles_factor=factor)
    return replace(drive, controller=controller)


def charged_as(drive: Drive) -> str:
    """What of the firmware's work takes time, by the drive's [controller]."""
    controller = drive.controller
    if controller.by_object_code:
        return f"the part's object code, cycles x {controller.code_cycles_factor:g}"
    if controller.block_cycles:
        return f"plain code at {controller.block_cycles} cycles a basic block"
    return 'calls of the port only, plain code takes no time: code_cycles = "object code" charges it'


def together(parts: Iterable[Sequence[AtFactor]]) -> tuple[AtFactor, ...]:
    """Each factor over all parts, which have the same factors."""
    whole: dict[float, AtFactor] = {}
    for each in (each for part in parts for each in part):
        whole.setdefault(each.factor, AtFactor(each.factor)).merge(each)
    return tuple(whole.values())


def save_breaking(
    folder: Path, verdicts: Mapping[str, str], factors: Sequence[AtFactor]
) -> dict[str, tuple[float, Path]]:
    """Write a scenario into `folder` for each claim that breaks with other cycles only.

    By claim, the factor nearest to 1 that breaks it, and the file.
    """
    found: dict[str, tuple[float, Path]] = {}
    for claim, verdict in verdicts.items():
        breaking = [each for each in factors if claim in each.breaking]
        if verdict == BROKEN or not breaking:
            continue
        nearest = min(breaking, key=lambda each: abs(math.log(each.factor)))
        folder.mkdir(parents=True, exist_ok=True)
        path = folder / f"{file_stem(claim)}-code-cycles-x{nearest.factor:g}.scenario"
        path.write_text(nearest.breaking[claim].to_toml(), encoding="utf-8")
        found[claim] = nearest.factor, path
    return found


def changed(verdicts: Mapping[str, str], factors: Sequence[AtFactor]) -> tuple[str, ...]:
    """Claims whose verdict, of those given, is another at one of the factors; in the order given."""
    return tuple(
        claim
        for claim, verdict in verdicts.items()
        if any(each.verdict(claim) != verdict for each in factors)
    )
