"""The bow thruster's target port beside the seam, in scenarios that a check plans: four of each family."""

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from dryspin.findings import Subject, load_subject
from dryspin.monitors import Verdict, judge
from dryspin.recording import LEGS, Mark, Recording, Signal
from dryspin.search.flavours import FLAVOURS
from dryspin.search.strategies import covering_draft

from ..small_firmware import BOW_THRUSTER

PORT = BOW_THRUSTER.parent / "targets"
COMPARE_A = 12
ROWS = range(4)

pytestmark = pytest.mark.slow

TOO_SHORT = ("arming", "tones")
"""Families whose scenarios have next to no commutation in closed loop."""

JAMMED = ("synchronism",)
"""A jam meets the rotor at another moment of a step, so that the current peaks elsewhere (36.3 A for 32.2 A
in one of these scenarios): the board's limit acts in one form only, and a claim that wants it not to have
acted is not exercised there. None may be broken in one form only."""


@cache
def subject(folder: Path) -> Subject:
    """Built once."""
    return load_subject(folder)


@cache
def recordings(family: str, row: int) -> tuple[Recording, Recording]:
    """One scenario through the seam and through the port."""
    number = list(FLAVOURS).index(family) + row * len(FLAVOURS)
    scenario = covering_draft(subject(BOW_THRUSTER).drive, family, number, 0).scenario
    return subject(BOW_THRUSTER).record(scenario), subject(PORT).record(scenario)


def verdicts(recording: Recording) -> dict[str, Verdict]:
    """By claim."""
    return {f"{v.family}.{v.claim}": v for v in judge(recording)}


def latencies(recording: Recording) -> np.ndarray:
    """Cycles from a compare match's handler to the first leg that changes, in closed loop."""
    entries, vectors, _ = recording.of(Signal.HANDLER)
    changes = np.sort(np.concatenate([recording.of(signal)[0] for signal in LEGS]))
    marks, values, _ = recording.of(Signal.MARK)
    if not np.any(values == Mark.RUN):
        return np.array([])
    entries = entries[(vectors == COMPARE_A) & (entries > marks[values == Mark.RUN][0])]
    after = changes[np.minimum(np.searchsorted(changes, entries), len(changes) - 1)] - entries
    return after[(after > 0) & (after < 100)]


@pytest.mark.parametrize("family", FLAVOURS, scope="module")
def test_every_claim_gets_the_verdict_of_the_seam(family: str) -> None:
    """All claims, exercised or not; and commutations at the rotor's angle of the seam, to half a degree: a
    microsecond or so at full stick, by which calls of the seam and registers differ from crossing to step."""
    for row in ROWS:
        seam, port = (verdicts(recording) for recording in recordings(family, row))

        other = {
            c: (v.status.name, port[c].status.name) for c, v in seam.items() if v.status != port[c].status
        }

        assert port.keys() == seam.keys()
        assert len(other) <= (family in JAMMED), other
        assert all(set(both) == {"HELD", "NOT_EXERCISED"} for both in other.values()), other
        angles = [v["commutation.angle"].seen for v in (seam, port)]
        if None not in angles:
            assert abs(angles[1] - angles[0]) < 0.5, row


@pytest.mark.parametrize("family", [each for each in FLAVOURS if each not in TOO_SHORT], scope="module")
def test_every_commutation_comes_within_five_cycles_of_the_seam_s(family: str) -> None:
    """From the handler's entry: 13 cycles through the seam, 8 to 18 through registers."""
    pairs = [recordings(family, row) for row in ROWS]
    seam, port = (np.concatenate([latencies(pair[k]) for pair in pairs]) for k in range(2))

    assert min(len(seam), len(port)) > 4000
    assert np.median(seam) == 13
    assert np.abs(np.percentile(port, [1, 50, 99]) - 13).max() <= 5


@pytest.mark.parametrize("family", FLAVOURS, scope="module")
def test_the_first_steps_come_as_much_later_as_the_port_s_start_takes(family: str) -> None:
    """Before the rotor closes the loop: 90 to 100 cycles of set-up before main(), some 300 more where the
    store was read, a beat of the main line (2 ms at most) where one was just missed; alike for all."""
    for row in ROWS:
        seam, port = (recording.steps.cycles[:8] for recording in recordings(family, row))
        later = port - seam

        assert len(later) == 8
        assert np.ptp(later) <= 2
        assert 80 <= later[0] <= 32_000
