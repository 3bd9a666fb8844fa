"""What freezing a run and going on from there costs; figures only."""

import time
from typing import Any

import pytest

from dryspin.rig import Rig
from dryspin.scenario import Scenario

pytestmark = pytest.mark.benchmark(timer=time.process_time)


def test_checkpoint_and_resume(benchmark: Any, rig: Rig, reference: Scenario) -> None:
    """In the core, at full speed: state out and back in, some 19 KB each."""
    frozen = rig.checkpoint(reference, 2.0)
    there_and_back = rig.shuttle(frozen)

    assert benchmark(there_and_back) == len(frozen.memory)


def test_a_continuation(benchmark: Any, rig: Rig, reference: Scenario) -> None:
    """The last half second of the reference from a warm checkpoint, recording included."""
    frozen = rig.checkpoint(reference, reference.end_s - 0.5)

    assert benchmark(rig.resume, frozen).digest() == rig.run(reference).digest()
