"""What one part of the page is made of: a run, its verdicts, the claim looked at, the bench run."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from dryspin.drive import Drive
from dryspin.findings import BROKEN, HELD, Outcome, Trial
from dryspin.recording import Recording
from dryspin.scenario import Scenario


@dataclass(frozen=True)
class BenchRun:
    """The story once more as a bench would play it: no propeller, a supply that takes no current back."""

    recording: Recording
    outcome: Outcome


@dataclass(frozen=True)
class Case:
    """One run to be shown.

    name       of the finding's or the scenario's file
    outcome    the claim that the page looks at, as judged in this very run
    replay     the command that plays it again
    sources    firmware text by file name, as compiled
    kept_as    "broken" or "held" for a finding, "" for a scenario
    """

    name: str
    outcome: Outcome
    trial: Trial
    recording: Recording
    replay: str
    sources: Mapping[str, bytes] = field(repr=False)
    bench: BenchRun | None = None
    kept_as: str = ""

    @property
    def scenario(self) -> Scenario:
        """The story."""
        return self.recording.scenario

    @property
    def drive(self) -> Drive:
        """The drive it is told about."""
        return self.recording.drive

    @property
    def moment_s(self) -> float:
        """The moment to look at; the end of the run where the claim names none."""
        moment_s = self.outcome.moment_s
        return self.recording.end_s if moment_s is None else min(max(moment_s, 0.0), self.recording.end_s)


def most_pressing(trial: Trial) -> Outcome | None:
    """The claim to look at in a run without a finding; None where no claim was judged.

    Of those that broke the earliest, since one thing leads to the next; else the least margin.
    """
    judged = [outcome for outcome in trial.outcomes if outcome.status in (BROKEN, HELD)]
    return min(judged, key=_pressing, default=None)


def by_urgency(outcomes: Iterable[Outcome]) -> list[Outcome]:
    """Broken ones first, in the order of their moments; the others as they stand."""
    return sorted(outcomes, key=lambda o: _pressing(o) if o.status == BROKEN else (True, False, 0.0))


def _pressing(o: Outcome) -> tuple[bool, bool, float]:
    sooner = o.moment_s if o.status == BROKEN else o.margin
    return o.status != BROKEN, o.moment_s is None, sooner or 0.0
