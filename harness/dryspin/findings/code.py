"""Runs that the firmware itself ended, as claims: a crash is found, shortened and replayed like the rest.

The claims `code.crash`, `code.hang`, `code.stack_overflow`, `code.end_of_main` and `code.illegal_setting`
need no declaration: no firmware may break them.
"""

import hashlib
from collections.abc import Callable
from typing import Protocol

from dryspin.errors import FirmwareError
from dryspin.findings.trial import BROKEN, Outcome, Trial
from dryspin.scenario import Scenario

CODE = "code"
"""Their family."""


class Tries(Protocol):
    """What can be tried out."""

    def try_out(self, scenario: Scenario) -> Trial:
        """Run and judge one scenario."""


def tried(subject: Tries, scenario: Scenario) -> Trial:
    """The trial of a scenario; where the firmware ends the run, one with the claim that this breaks.

    Raises RigError where it is not the firmware's doing.
    """
    return trial_of(lambda: subject.try_out(scenario))


def trial_of(run: Callable[[], Trial]) -> Trial:
    """The trial that `run` gives; where the firmware ends it, one with the claim that this breaks."""
    try:
        return run()
    except FirmwareError as error:
        outcome = Outcome(
            claim=f"{CODE}.{error.kind.replace(' ', '_')}",
            status=BROKEN,
            margin=-1.0,
            moment_s=error.moment_s,
            text=error.text + _calls(error),
            source_line=error.line,
        )
        digest = hashlib.blake2b(error.text.encode(), digest_size=16).hexdigest()
        return Trial((outcome,), error.moment_s, digest)


def _calls(error: FirmwareError) -> str:
    calls = [f"{function}() at {line}" for line, function in error.chain if line != error.line]
    return f"; called from {', from '.join(calls)}" if calls else ""
