"""Faults that the checked build shows in one run, as claims: shortened, kept and replayed like the rest.

`code.undefined` and `code.out_of_bounds` need no declaration. Races are none of them: they do not depend on
what happened in one run.
"""

import hashlib
from collections.abc import Iterable
from typing import Protocol

from dryspin.faults import Code, Evidence, Fault
from dryspin.faults.fault import OUT_OF_BOUNDS, UNDEFINED
from dryspin.findings.code import CODE
from dryspin.findings.trial import BROKEN, HELD, Outcome, Trial
from dryspin.scenario import Scenario


def claim_of(kind: str) -> str:
    """The claim that a fault of that kind breaks: "out of bounds" is code.out_of_bounds."""
    return f"{CODE}.{kind.replace(' ', '_')}"


SHOWN_BY_A_RUN = (claim_of(OUT_OF_BOUNDS), claim_of(UNDEFINED))
"""Claims that a run of the checked build judges, and no recording of the plain one."""


class Inspects(Protocol):
    """What is needed of a checked build; `faults.Inspector` is one."""

    def evidence(self, scenarios: Iterable[Scenario], *, widths: bool = True) -> Evidence:
        """What runs of these scenarios show; widths: with the part's integers, too."""

    def judge(self, evidence: Evidence) -> Code:
        """The faults that the evidence shows."""


class Inspected:
    """A checked build whose runs are judged by one claim. `line`: the place of the fault looked for.

    only_there: faults at other places count as none; else they come after it, since lines move.
    """

    def __init__(self, inspector: Inspects, claim: str, line: str, *, only_there: bool = False) -> None:
        self._inspector = inspector
        self._claim, self._line, self._only_there = claim, line, only_there

    def try_out(self, scenario: Scenario) -> Trial:
        """Run one scenario: an outcome for each fault, or the one that the claim held.

        Raises RigError where it is not the firmware that ends the run.
        """
        evidence = self._inspector.evidence([scenario], widths=False)
        faults = [f for f in self._inspector.judge(evidence).faults if claim_of(f.kind) == self._claim]
        there = [fault for fault in faults if fault.place.line == self._line]
        elsewhere = [] if self._only_there else [f for f in faults if f.place.line != self._line]
        outcomes = tuple(_outcome(fault) for fault in there + elsewhere)
        held = Outcome(self._claim, HELD, 1.0, text="the checked build met no such fault in this scenario")
        return Trial(outcomes or (held,), evidence.simulated_s, _digest(evidence))


def _outcome(fault: Fault) -> Outcome:
    where = f" in {fault.place.function}()" if fault.place.function else ""
    calls = "".join(f", called from {place}" for place in fault.chain)
    return Outcome(
        claim=claim_of(fault.kind),
        status=BROKEN,
        margin=-1.0,
        moment_s=fault.moment_s,
        text=f"{fault.kind}{where}: {fault.text}{calls}",
        source_line=fault.place.line,
    )


def _digest(evidence: Evidence) -> str:
    """Of the recording, or of what ended the run."""
    ended = "".join(fault.text for fault in evidence.failures)
    if ended:
        return hashlib.blake2b(ended.encode(), digest_size=16).hexdigest()
    return "".join(evidence.digests)
