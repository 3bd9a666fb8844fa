"""One trial: a scenario run on the rig and judged, boiled down to what outlives the recording.

A recording is tens of megabytes, an outcome a few lines; everything after the monitors (search,
findings, reports) works on outcomes, and a worker never holds more than one recording.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from dryspin.monitors import Status, Verdict
from dryspin.recording import Recording

# As plain text: outcomes go into TOML and JSON, and between processes.
BROKEN, HELD = Status.BROKEN.value, Status.HELD.value
NOT_EXERCISED, CANNOT_TELL = Status.NOT_EXERCISED.value, Status.CANNOT_TELL.value


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a monitor said about one claim, without the recording it said it about.

    `claim` is the full name, "family.claim". `limit` and `seen` are in `unit`; `moment_s` counts
    from power-on; `source_line` is "file.c:88", or empty where no line acted.
    """

    claim: str
    status: str
    margin: float | None = None
    moment_s: float | None = None
    limit: float | None = None
    seen: float | None = None
    unit: str = ""
    text: str = ""
    source_line: str = ""

    @property
    def exercised(self) -> bool:
        """Whether the claim's precondition was met and its monitor could tell."""
        return self.status in (BROKEN, HELD)


@dataclass(frozen=True, slots=True)
class Trial:
    """The outcomes of one scenario, in the order of the monitors; simulated time; digest.

    `speeds_rpm`: lowest and highest speed of the rotor, mechanical; None where nobody saw it.
    """

    outcomes: tuple[Outcome, ...]
    simulated_s: float
    digest: str = ""
    speeds_rpm: tuple[float, float] | None = None

    def of(self, claim: str) -> Outcome:
        """The outcome of one claim by full name; not exercised where no monitor spoke of it."""
        for outcome in self.outcomes:
            if outcome.claim == claim:
                return outcome
        return Outcome(claim, NOT_EXERCISED)


def outcomes_of(verdicts: Iterable[Verdict], recording: Recording) -> tuple[Outcome, ...]:
    """Outcomes of verdicts, each with the firmware line of the edge that acted."""
    return tuple(
        Outcome(
            claim=verdict.name,
            status=str(verdict.status),
            margin=_plain(verdict.margin),
            moment_s=_plain(verdict.moment_s),
            limit=_plain(verdict.limit),
            seen=_plain(verdict.seen),
            unit=verdict.unit,
            text=verdict.text,
            source_line=recording.line_of(verdict.row),
        )
        for verdict in verdicts
    )


def _plain(value: float | None) -> float | None:
    """A Python float: numpy scalars do not write into TOML or JSON."""
    return None if value is None else float(value)
