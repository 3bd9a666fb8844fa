"""The `rig` of a test: runs a scenario on the firmware under test, judges it, and objects."""

import math
from collections.abc import Sequence
from functools import cache

import hypothesis
from hypothesis.errors import InvalidArgument

from dryspin.errors import UsageError
from dryspin.findings import BROKEN, Outcome, Subject, Trial
from dryspin.recording import Recording
from dryspin.scenario import Scenario


class ClaimBrokenError(AssertionError):
    """A claim broke. One class of its own for each claim, so that shrinking stays with that claim."""

    def __init__(self, outcome: Outcome, scenario: Scenario, trial: Trial) -> None:
        from dryspin.report import happened_lines, verdict_line

        super().__init__("\n".join([verdict_line(outcome), *happened_lines(outcome)]))
        self.outcome, self.scenario, self.trial = outcome, scenario, trial


@cache
def error_of(claim: str) -> type[ClaimBrokenError]:
    """The exception class of one claim: reversal.in_time -> ReversalInTimeError."""
    name = "".join(part.capitalize() for part in claim.replace(".", "_").split("_"))
    return type(f"{name}Error", (ClaimBrokenError,), {"__doc__": f"{claim} broke."})


class Stand:
    """One firmware on the rig, for tests.

    `firmware` is the subject; `last` the scenario run most recently in this test.
    """

    def __init__(self, firmware: Subject) -> None:
        self.firmware = firmware
        self.last: Scenario | None = None
        self._families: Sequence[str] = ()

    def __repr__(self) -> str:
        return f"<rig of {self.firmware.drive.name}>"

    def begin(self, families: Sequence[str] = ()) -> None:
        """A test begins: nothing has been run in it. `families`: whose margins it looks at."""
        self.last = None
        self._families = families

    def run(self, scenario: Scenario) -> Recording:
        """Run one scenario and record it. Raises RigError where the firmware crashes or hangs."""
        self.last = scenario
        return self.firmware.record(scenario)

    def judge(self, recording: Recording) -> Trial:
        """Put a recording before the monitors of all declared claims."""
        return self.firmware.judge(recording)

    def holds(self, scenario: Scenario, *claims: str) -> Trial:
        """Run and judge one scenario; none of `claims` may break, by default none that is declared.

        `claims` are full names, or families. In a Hypothesis test their margins, or those of the families of
        `@scenarios`, become its targets: thin ones are looked for. Raises ClaimBrokenError, which is an
        AssertionError, and UsageError where a name is not declared.
        """
        __tracebackhide__ = True
        watched = self._watched(claims)
        trial = self.judge(self.run(scenario))
        aims = self._watched(claims or self._families) if claims or self._families else set()
        if hypothesis.currently_in_test_context():
            for outcome in trial.outcomes:
                if outcome.claim in aims and outcome.margin is not None and math.isfinite(outcome.margin):
                    _aim_at(outcome.claim, outcome.margin)
        for outcome in trial.outcomes:
            if outcome.status == BROKEN and outcome.claim in watched:
                raise error_of(outcome.claim)(outcome, scenario, trial)
        return trial

    def _watched(self, names: Sequence[str]) -> set[str]:
        declared = self.firmware.claims
        suppressed = {suppression.claim for suppression in declared.suppressions}
        if not names:
            return set(declared.declared) - suppressed
        watched: set[str] = set()
        for name in names:
            meant = {c for c in declared.declared if name in (c, c.partition(".")[0])}
            if not meant:
                raise UsageError(
                    f"{name!r} is no declared claim or family; {declared.path} declares "
                    f"{', '.join(sorted({c.partition('.')[0] for c in declared.declared}))}"
                )
            watched |= meant
        return watched


def _aim_at(claim: str, margin: float) -> None:
    try:
        hypothesis.target(-margin, label=claim)
    except InvalidArgument:
        # A test that judges twice: Hypothesis takes one value a label, the first.
        return
