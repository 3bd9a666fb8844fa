"""A finding: a claim that broke, the shortest scenario that breaks it, and what it was seen on."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from dryspin.findings.trial import Outcome
from dryspin.scenario import Scenario

EXPECTED = ("broken", "held")


@dataclass(frozen=True)
class Finding:
    """One kept finding.

    `expected` says which verdict keeps the finding as a test: "broken" for a known-bad firmware,
    "held" once the bug is mended. `outcome` is what was seen when it was found. `firmware` is the
    directory, `drive` the file, both as paths that exist seen from here; the file stores them
    relative to itself. `search_seed` is the seed of the check that found it, None for a finding
    made by hand. `digest` is that of the recording.
    """

    expected: str
    outcome: Outcome
    scenario: Scenario
    firmware: Path
    drive: Path
    hashes: Mapping[str, str] = field(hash=False)
    digest: str
    search_seed: int | None = None

    @property
    def claim(self) -> str:
        """Full name of the claim, "family.claim"."""
        return self.outcome.claim


def file_stem(claim: str) -> str:
    """How the file names of a claim's findings begin: reversal.opposing_drive -> reversal-opposing-drive."""
    return claim.replace(".", "-").replace("_", "-")
