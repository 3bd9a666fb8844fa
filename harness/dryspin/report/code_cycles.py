"""What the verdicts of a check owe to the cycles of the code, as text and as plain data."""

from collections import Counter
from typing import Any

from dryspin.drive import Drive
from dryspin.findings import BROKEN
from dryspin.report.numbers import margin
from dryspin.search import CheckResult
from dryspin.search.code_cycles import AtFactor
from dryspin.search.tally import Tally


def code_cycles_lines(result: CheckResult, drive: Drive) -> list[str]:
    """Verdicts at each factor, then every claim whose verdict is not the same at all; [] without factors."""
    if not result.at_factors:
        return []
    lines = [f"the same {result.scenarios} scenarios with the part's object code, its cycles times a factor:"]
    for each in result.at_factors:
        counts = Counter(each.verdict(claim.claim) for claim in result.claims)
        told = ", ".join(f"{count} {verdict}" for verdict, count in sorted(counts.items()))
        lines.append(f"   x {each.factor:g}: {told}")
    above = {claim.claim: claim for claim in result.claims}
    for name in result.owed_to_cycles:
        here = above[name]
        row = [f"above {here.verdict}" + (f" {margin(here.worst.margin)}" if here.exercised else "")]
        row += [f"x {each.factor:g} {_told(each, name)}" for each in result.at_factors]
        lines.append(f"{name}: {'; '.join(row)}")
        if name in result.charged_scenarios:
            factor, path = result.charged_scenarios[name]
            other = "" if drive.path.name == "drive.toml" else f" --drive {drive.path}"
            lines.append(f"   dryspin timing {drive.path.parent} {path} --factors {factor:g}{other}")
    return lines if result.owed_to_cycles else [*lines, "no verdict depends on these factors"]


def _told(each: AtFactor, claim: str) -> str:
    """Verdict, least margin, and how often it broke."""
    tally = each.tallies.get(claim, Tally())
    if not tally.exercised or tally.worst is None:
        return each.verdict(claim)
    broken = tally.counts.get(BROKEN, 0)
    often = f" in {broken} of {tally.exercised}" if broken else ""
    return f"{tally.verdict} {margin(tally.worst.margin)}{often}"


def code_cycles_json(result: CheckResult) -> dict[str, Any] | None:
    """The same; None where the check was told no factor."""
    if not result.at_factors:
        return None
    return {
        "factors": [
            {
                "factor": each.factor,
                "claims": [
                    {
                        "claim": claim.claim,
                        "verdict": each.verdict(claim.claim),
                        "margin": tally.worst.margin if tally.worst else None,
                        "exercised": tally.exercised,
                        "broken": tally.counts.get(BROKEN, 0),
                    }
                    for claim in result.claims
                    for tally in (each.tallies.get(claim.claim, Tally()),)
                ],
            }
            for each in result.at_factors
        ],
        "changed": list(result.owed_to_cycles),
        "scenarios": {
            claim: {"factor": factor, "file": path.as_posix()}
            for claim, (factor, path) in result.charged_scenarios.items()
        },
    }
