"""What it costs to run the target port by its registers, beside the same control code behind the seam.

Figures as everywhere here; with `--benchmark-enable` one limit is asserted: three times the seam's CPU time.
"""

import time
from typing import Any

import pytest

from dryspin.build import build_image
from dryspin.drive import load_drive
from dryspin.rig import Rig
from dryspin.scenario import Scenario

from .conftest import THRUSTER

pytestmark = [pytest.mark.benchmark(timer=time.process_time), pytest.mark.slow]

PORT = THRUSTER.parent / "targets"
MOST_TIMES = 3.0


def test_the_reference_scenario_through_registers(benchmark: Any, rig: Rig, reference: Scenario) -> None:
    """Both are the best of five, taken in turn, so that what else runs on the machine slows both."""
    drive = load_drive(PORT)
    port = Rig(build_image(drive, PORT), drive)
    seam_s = []

    def seam() -> None:
        begun_s = time.process_time()
        rig.run(reference)
        seam_s.append(time.process_time() - begun_s)

    recording = benchmark.pedantic(
        lambda: port.run(reference), setup=seam, rounds=5 if benchmark.enabled else 1
    )

    assert recording.end_s == pytest.approx(reference.end_s)
    if benchmark.enabled:
        times = benchmark.stats.stats.min / min(seam_s)
        benchmark.extra_info["times_of_seam"] = times
        assert times <= MOST_TIMES
