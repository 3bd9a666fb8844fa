"""What a check says: one result per claim, the findings, what was kept, and the totals."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from dryspin.faults import Code
from dryspin.findings import BROKEN, HELD, Finding, Outcome, Replay
from dryspin.search.code_cycles import AtFactor, changed
from dryspin.search.effect import Effect
from dryspin.search.envelope import Visit
from dryspin.search.handlers import HandlerTimes
from dryspin.search.highest_speed import fastest_rpm
from dryspin.search.varying import Variation


@dataclass(frozen=True)
class ClaimResult:
    """One claim over all scenarios of a check. `suppressed` is the declared reason, else empty.

    margins: one of every trial that judged it. by_family: how many scenarios of each family exercised it.
    """

    claim: str
    verdict: str
    exercised: int
    worst: Outcome
    suppressed: str = ""
    margins: tuple[float, ...] = ()
    by_family: Mapping[str, int] = field(default_factory=dict)

    @property
    def family(self) -> str:
        """The part of the full name before the dot."""
        return self.claim.partition(".")[0]

    @property
    def name(self) -> str:
        """The part of the full name after the dot."""
        return self.claim.partition(".")[2]


@dataclass(frozen=True)
class SavedFinding:
    """A finding, the file it was written to, and what of its scenario was tried to matter."""

    path: Path
    finding: Finding
    varied: tuple[Variation, ...] = ()


@dataclass(frozen=True)
class KeptResult:
    """A kept finding, replayed before the search began."""

    path: Path
    replay: Replay


@dataclass(frozen=True)
class CheckResult:
    """The result of a check. Times in s; `families` maps a family to (scenarios, exercised).

    `exercised` of a family counts those of its own scenarios in which its least-exercised
    declared claim was judged. `shrink_trials` were run to shorten findings and count as nothing
    else. `visits`: where each scenario went. `code` is what runs of the checked build show, None without
    one; `covered` the marks of the code that were reached, where it has any. `rite_frames`: by frame
    period (ms), the frames that arming took in rehearsal; empty where it was declared or never seen.
    `unknowns`: what the guesses of the drive do at both ends of their ranges, the weightiest first.
    `handlers`: what they took, None where nobody watched. `at_factors`: the same scenarios with other cycles
    for the code. `charged_scenarios`: by claim, factor and file of one that breaks it only then.
    `balanced_rpm`: the drive's highest speed, 0.0 where nobody reckoned it.
    """

    claims: tuple[ClaimResult, ...]
    findings: tuple[SavedFinding, ...]
    kept: tuple[KeptResult, ...]
    families: Mapping[str, tuple[int, int]]
    reached: Mapping[str, object]
    scenarios: int
    simulated_s: float
    shrink_trials: int
    seed: int
    wall_s: float
    versions: Mapping[str, str]
    visits: tuple[Visit, ...] = ()
    code: Code | None = None
    covered: frozenset[Any] = frozenset()
    rite_frames: Mapping[float, int] = field(default_factory=dict)
    unknowns: tuple[Effect, ...] = ()
    handlers: HandlerTimes | None = None
    at_factors: tuple[AtFactor, ...] = ()
    charged_scenarios: Mapping[str, tuple[float, Path]] = field(default_factory=dict)
    balanced_rpm: float = 0.0

    @property
    def real_time_factor(self) -> float:
        """Simulated seconds per second of wall time."""
        return self.simulated_s / self.wall_s if self.wall_s > 0.0 else 0.0

    @property
    def fastest_rpm(self) -> float | None:
        """Highest speed of any scenario (rpm), either way; None where nobody saw the rotor."""
        return fastest_rpm(self.visits)

    @property
    def broken(self) -> tuple[ClaimResult, ...]:
        """Claims that broke and are not suppressed."""
        return tuple(c for c in self.claims if c.verdict == BROKEN and not c.suppressed)

    @property
    def unproven(self) -> tuple[ClaimResult, ...]:
        """Declared claims that no scenario exercised: nothing was shown about them."""
        return tuple(c for c in self.claims if c.verdict not in (BROKEN, HELD) and not c.suppressed)

    @property
    def owed_to_cycles(self) -> tuple[str, ...]:
        """Claims whose verdict is another at one of the factors."""
        return changed({claim.claim: claim.verdict for claim in self.claims}, self.at_factors)

    @property
    def still_broken(self) -> tuple[KeptResult, ...]:
        """Kept findings whose claim is broken in today's firmware."""
        return tuple(kept for kept in self.kept if kept.replay.outcome.status == BROKEN)

    @property
    def passed(self) -> bool:
        """All declared claims exercised and held, no kept finding still broken, no fault unexplained."""
        faults = self.code is not None and self.code.open_faults
        return not (self.broken or self.unproven or self.still_broken or faults)
