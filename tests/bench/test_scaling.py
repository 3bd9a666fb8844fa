"""Seconds of runs and of judging over 1:100 in length; tests/rig/test_work.py counts.

Nothing is asserted of seconds in the default suite; where they are measured, monitors have to cost less
than the run they judge.
"""

import time
from typing import Any

import pytest

from dryspin.drive import load_claims
from dryspin.monitors import judge, known_claims, known_limits
from dryspin.rig import Rig
from dryspin.scenario import Scenario

from .conftest import THRUSTER


def given(end_s: float) -> Scenario:
    """Arming, a start at 0.8 s, and full speed to the end."""
    return Scenario(7, end_s, 210.0, 20.0, ((0.0, 1500.0), (min(0.8, end_s / 2.0), 1900.0)))


@pytest.mark.parametrize("end_s", [0.4, 4.0, 40.0])
def test_run_of_length(benchmark: Any, rig: Rig, end_s: float) -> None:
    """`ns_per_event` is the figure that must not grow."""
    if not benchmark.enabled and end_s > 4.0:
        end_s = 4.0
    recording = benchmark.pedantic(rig.run, (given(end_s),), rounds=2)
    events = rig.counts()["events"]
    benchmark.extra_info["events"] = events
    if benchmark.enabled:
        benchmark.extra_info["ns_per_event"] = benchmark.stats["min"] / events * 1e9
    assert recording.end_s == pytest.approx(end_s)


def test_monitors_beside_their_run(benchmark: Any, rig: Rig) -> None:
    """`share_of_run`: CPU time of judging over that of the run it judges; below 1 they cost less."""
    claims = load_claims(THRUSTER / "claims.toml", known_claims(), known_limits())
    shares = []

    def both() -> int:
        began_s = time.process_time()
        recording = rig.run(given(4.0))
        ran_s = time.process_time()
        verdicts = judge(recording, claims)
        shares.append((time.process_time() - ran_s) / (ran_s - began_s))
        return len(verdicts)

    assert benchmark.pedantic(both, rounds=9 if benchmark.enabled else 1) > 0
    benchmark.extra_info["share_of_run"] = min(shares)
    if benchmark.enabled:
        assert min(shares) < 1.0
