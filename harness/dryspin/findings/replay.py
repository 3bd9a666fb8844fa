"""Replay: the scenario of a finding on today's firmware, and what moved since it was found."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

from dryspin.drive import Drive
from dryspin.faults import Inspector
from dryspin.findings.code import CODE, Tries, tried
from dryspin.findings.finding import Finding
from dryspin.findings.inspected import SHOWN_BY_A_RUN, Inspected
from dryspin.findings.subject import load_subject
from dryspin.findings.trial import HELD, Outcome, Trial
from dryspin.scenario import Scenario


class Tried(Protocol):
    """What a replay needs of a subject."""

    @property
    def hashes(self) -> Mapping[str, str]:
        """Content hashes by name: firmware, drive, claims, build; costs where object code is charged."""

    @property
    def directory(self) -> Path:
        """The firmware directory: a fault of the C is looked for with a checked build of it."""

    @property
    def drive(self) -> Drive:
        """The drive it is built for."""

    def try_out(self, scenario: Scenario) -> Trial:
        """Run and judge one scenario."""


@dataclass(frozen=True)
class Replay:
    """Outcome of a finding's claim today.

    `moved` names the hashes that differ from the stored ones, as (name, then, now).
    `same_digest`: the recording is the very one of the finding, bit for bit.
    """

    finding: Finding
    outcome: Outcome
    simulated_s: float
    moved: tuple[tuple[str, str, str], ...]
    same_digest: bool

    @property
    def as_expected(self) -> bool:
        """Whether the claim's verdict is the one the finding is kept for."""
        return self.outcome.status == self.finding.expected

    @property
    def unrepeatable(self) -> bool:
        """Nothing that the run depends on moved, and yet the recording differs: a defect of dryspin."""
        return not self.same_digest and not any(name != "claims" for name, _, _ in self.moved)


def replay(
    finding: Finding,
    firmware_dir: Path | None = None,
    *,
    load: Callable[[Path, Path | None], Tried] = load_subject,
) -> Replay:
    """Run the finding's scenario on its firmware, or on `firmware_dir` with that one's drive.

    Raises what `load_subject` raises, and RigError where the firmware cannot be run to the end.
    """
    subject = load(firmware_dir, None) if firmware_dir else load(finding.firmware, finding.drive)
    return replay_on(subject, finding)


def replay_on(subject: Tried, finding: Finding) -> Replay:
    """Run the finding's scenario on a subject that is loaded already."""
    trial = replayed(subject, finding)
    now = subject.hashes
    moved = tuple(
        (name, finding.hashes.get(name, ""), now.get(name, ""))
        for name in {**finding.hashes, **now}
        if finding.hashes.get(name, "") != now.get(name, "")
    )
    return Replay(finding, trial.of(finding.claim), trial.simulated_s, moved, trial.digest == finding.digest)


def judge_of(subject: Tried, finding: Finding) -> Tries:
    """What judges the finding's claim: the subject, or, of the C itself, a checked build of its firmware."""
    if finding.claim not in SHOWN_BY_A_RUN:
        return subject
    checked = Inspector(subject.drive, subject.directory)
    return Inspected(checked, finding.claim, finding.outcome.source_line)


def replayed(subject: Tried, finding: Finding) -> Trial:
    """The trial of the finding's scenario; a run that comes to its end holds what another one ended.

    Raises RigError where the firmware cannot be run to the end.
    """
    trial = tried(judge_of(subject, finding), finding.scenario)
    about_code = f"{CODE}."
    if not finding.claim.startswith(about_code):
        return trial
    if any(outcome.claim.startswith(about_code) for outcome in trial.outcomes):
        return trial
    came_to_end = Outcome(finding.claim, HELD, 1.0, text="the firmware ran to the end of this scenario")
    return replace(trial, outcomes=(*trial.outcomes, came_to_end))
