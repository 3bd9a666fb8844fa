"""Putting a recording before the monitors, and asking for one verdict."""

from pathlib import Path

from dryspin.drive import Claims, Limit
from dryspin.monitors import Status, Verdict, judge, known_claims
from dryspin.recording import Recording


def verdicts(recording: Recording, **limits: float) -> dict[str, Verdict]:
    """All verdicts by full name; `limits` go before the defaults."""
    overridden = {name: Limit(value, "a test's own") for name, value in limits.items()}
    claims = Claims(Path("claims.toml"), known_claims(), overridden)
    return {verdict.name: verdict for verdict in judge(recording, claims)}


def broken(found: dict[str, Verdict]) -> set[str]:
    """Names of the broken claims."""
    return {name for name, verdict in found.items() if verdict.status == Status.BROKEN}
