"""What a run costs grows with what happens in it, and with nothing else: counted, not timed.

Work is what the core and the monitors do, in segments of the plant, rounds of the clock and calls of
Python; all are the same on every machine. Seconds are in tests/bench.
"""

import sys
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from types import FrameType
from typing import Any, NamedTuple

import pytest

from dryspin.build import build_image
from dryspin.drive import Drive, load_claims
from dryspin.monitors import judge, known_claims, known_limits
from dryspin.recording import Recording
from dryspin.rig import Rig
from dryspin.scenario import Scenario

from ..small_firmware import BOW_THRUSTER, START_UP_CYCLES, Bench, scenario

BEGIN_S = START_UP_CYCLES / 16e6

CHOPPING = """
    #include "say.h"
    int main(void)
    {
        port_duty(100);
        port_carriers_start(3);
        port_leg(PORT_U, PORT_CHOPPED);
        port_leg(PORT_V, PORT_LOW);
        port_sense_select(PORT_W);
        SLEEP_FOREVER
    }
"""
"""One pattern for ever on a rotor driven from outside: the same happens in every second of it."""


class Work(NamedTuple):
    """Of one run since main() began: what happened, and what it took."""

    happened: int
    segments: int
    rounds: int


def work(rig: Rig, end_s: float, rpm: float) -> Work:
    """Run to `end_s` after main() began; happened: recorded edges and sixths of a turn."""
    parts = []
    for until_s in (BEGIN_S, BEGIN_S + end_s):
        recording = rig.run(scenario(until_s, speed_rpm=((0.0, rpm),)))
        counts = rig.counts()
        happened = len(recording.edges) + len(recording.sixths[0])
        parts.append((happened, counts["segments"], counts["events"]))
    return Work(*(late - early for early, late in zip(*parts, strict=True)))


def test_work_grows_with_what_happens_over_1_to_100_in_length(bench: Bench) -> None:
    """Nothing is looked through again and again: a hundred times as long is a hundred times the work."""
    rig = bench.rig(CHOPPING)
    short, long = (work(rig, end_s, 3000.0) for end_s in (0.05, 5.0))

    assert short.happened > 3000
    for took_short, took_long in zip(short[1:], long[1:], strict=True):
        assert took_long / took_short <= 1.02 * long.happened / short.happened


def test_work_grows_no_faster_than_what_happens_over_1_to_100_in_speed(bench: Bench) -> None:
    """Segments and rounds for each thing that happens, from 100 to 10 000 rpm: hardly more at speed.

    A quarter more: in each carrier period the open leg's diode begins and ends to conduct, no edge of it.
    """
    rig = bench.rig(CHOPPING)
    works = [work(rig, 0.5, rpm) for rpm in (100.0, 1000.0, 10_000.0)]

    for slow, fast in pairwise(works):
        for took_slow, took_fast in zip(slow[1:], fast[1:], strict=True):
            assert took_fast / took_slow <= 1.25 * max(1.0, fast.happened / slow.happened)


@pytest.mark.parametrize("rpm", [100.0, 10_000.0])
def test_a_segment_is_spent_on_something_that_happens(bench: Bench, rpm: float) -> None:
    """Beyond a fixed number a second, which covers the quiet between events, two for each event suffice."""
    # Without the board's current limit, which looks at a high current every 2 us.
    bench.drive = replace(bench.drive, bridge=replace(bench.drive.bridge, over_current_a=None))
    seen = work(bench.rig(CHOPPING), 0.5, rpm)

    # at most 20 us or, in the present plant, the bus's 11.75 us: 85 000 a second
    assert seen.segments <= 0.5 * 86_000 + 2 * seen.happened


def calls_of(recording: Recording, claims: Any) -> int:
    """Calls of functions, Python's and C's, that judging takes."""
    count = 0

    def profile(_frame: FrameType, event: str, _argument: object) -> None:
        nonlocal count
        count += event in ("call", "c_call")

    sys.setprofile(profile)
    try:
        judge(recording, claims)
    finally:
        sys.setprofile(None)
    return count


def test_monitors_take_fewer_calls_than_the_run_has_rounds(thruster: Drive) -> None:
    """Judging works on whole arrays: as a run goes on, its calls grow less than the edges do.

    A call of Python costs some four rounds of the core (tests/bench tells), hence the factor.
    """
    claims = load_claims(Path(BOW_THRUSTER / "claims.toml"), known_claims(), known_limits())
    rig = Rig(build_image(thruster, BOW_THRUSTER), thruster)
    judge(rig.run(Scenario(7, 1.0, 210.0, 20.0, ((0.0, 1500.0),))), claims)  # what is imported on first use
    edges, calls, rounds = [], [], []
    # Judging has a part that does not grow, some 10 000 calls for all families.
    for end_s in (2.5, 7.5):
        recording = rig.run(Scenario(7, end_s, 210.0, 20.0, ((0.0, 1500.0), (0.8, 1900.0))))
        rounds.append(rig.counts()["events"])
        edges.append(len(recording.edges))
        calls.append(calls_of(recording, claims))

    assert calls[1] / calls[0] <= edges[1] / edges[0]
    assert all(4 * c < r for c, r in zip(calls, rounds, strict=True)), (calls, rounds)
