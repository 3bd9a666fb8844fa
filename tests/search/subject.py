"""A stand-in for firmware: a function says what a scenario breaks, and a search takes a blink."""

import hashlib
from collections.abc import Callable, Iterable
from itertools import pairwise
from pathlib import Path

from dryspin.drive import Claims, Suppression, load_drive
from dryspin.errors import RigError
from dryspin.findings import Outcome, Trial
from dryspin.recording import Recording
from dryspin.scenario import Scenario

BOW_THRUSTER = Path(__file__).parents[2] / "firmware_under_test" / "bow_thruster"

Judge = Callable[[Scenario], Iterable[Outcome]]


class StandIn:
    """Satisfies `search.Checked`; `judge` gives the outcomes of a scenario."""

    compiler = "none"

    def __init__(self, directory: Path, judge: Judge, declared: tuple[str, ...], suppressed=()) -> None:
        self.directory = directory
        self.drive = load_drive(BOW_THRUSTER / "drive.toml")
        self.claims = Claims(
            directory / "claims.toml",
            declared,
            suppressions=tuple(Suppression(claim, why) for claim, why in suppressed),
        )
        self.hashes = {"firmware": "f0", "drive": "d0", "claims": "c0", "build": "b0"}
        self._judge = judge

    def record(self, scenario: Scenario) -> Recording:
        """There is no firmware to run, so that nothing is seen in rehearsal."""
        raise RigError("stands in for firmware")

    def try_out(self, scenario: Scenario) -> Trial:
        """Judge without running; the digest stands for the recording's."""
        digest = hashlib.blake2b(scenario.to_toml().encode(), digest_size=16).hexdigest()
        return Trial(tuple(self._judge(scenario)), scenario.end_s, digest)

    def search_trial(self, scenario: Scenario, shared_s: float | None = None) -> Trial:
        """The same: there is no run to go on from."""
        return self.try_out(scenario)


def held(claim: str, margin: float = 1.0) -> Outcome:
    """The outcome of a claim that held."""
    return Outcome(claim, "held", margin)


def broken(claim: str, moment_s: float, margin: float = -1.0) -> Outcome:
    """The outcome of a claim that broke."""
    return Outcome(claim, "broken", margin, moment_s, text="it broke")


def reversal_at_s(scenario: Scenario) -> float | None:
    """First moment at which the stick goes from well forward to well back, or the other way."""
    steps = scenario.throttle_us
    for (_, before), (t_s, after) in pairwise(steps):
        if min(before, after) > 0 and min(before, after) < 1300 and max(before, after) > 1700:
            return t_s
    return None
