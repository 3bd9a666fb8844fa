"""Putting a recording before the monitors, and asking for one verdict."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

from dryspin.drive import Claims, Limit
from dryspin.monitors import Status, Verdict, judge, known_claims
from dryspin.recording import Recording

from .synthetic import Story


@dataclass(frozen=True)
class Case:
    """`make(value)` writes a recording in which `claim` sees `value` of what `limit` bounds.

    `also` are claims that object to the same thing, with the reason beside the case; `given` are
    limits moved out of the way of it.
    """

    claim: str
    limit: str
    make: Callable[[float], Story]
    minimum: bool = False
    also: tuple[str, ...] = ()
    given: dict[str, float] = field(default_factory=dict)

    def __str__(self) -> str:
        return f"{self.claim}-{self.limit}"


@dataclass(frozen=True)
class Plant:
    """A violation of `claim`; `also` object to the same thing for the reason in the docstring of `make`."""

    claim: str
    make: Callable[[], Story]
    also: tuple[str, ...] = ()
    given: dict[str, float] = field(default_factory=dict)

    def __str__(self) -> str:
        return f"{self.claim}-{self.make.__name__.strip('_')}"


def verdicts(recording: Recording, **limits: float) -> dict[str, Verdict]:
    """All verdicts by full name; `limits` go before the defaults."""
    overridden = {name: Limit(value, "a test's own") for name, value in limits.items()}
    claims = Claims(Path("claims.toml"), known_claims(), overridden)
    return {verdict.name: verdict for verdict in judge(recording, claims)}


def broken(found: dict[str, Verdict]) -> set[str]:
    """Names of the broken claims."""
    return {name for name, verdict in found.items() if verdict.status == Status.BROKEN}


def until(run: Recording, end_s: float) -> Recording:
    """The same run, but the recording stops at `end_s`."""
    end = round(end_s * run.f_cpu_hz)
    edges, states = run.edges[run.edges["cycle"] <= end], run.states[run.states["t_s"] <= end_s]
    return replace(run, edges=edges, states=states, end_cycle=end)
