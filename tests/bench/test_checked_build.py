"""What the checked build costs: to run, beside the plain one, and to make.

Figures as everywhere here; the two limits are asserted only with `--benchmark-enable`, on a machine that is
meant to be quiet: 60 % of the plain build's real-time factor, 3 s of CPU time for 1 500 lines and more.
"""

import resource
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from dryspin.build import build_image, find_compiler
from dryspin.build.sources import firmware_text
from dryspin.drive import Drive
from dryspin.rig import Rig
from dryspin.scenario import Scenario

from .conftest import THRUSTER

pytestmark = [pytest.mark.benchmark(timer=time.process_time), pytest.mark.slow]

LEAST_SHARE = 0.6
MOST_BUILD_S = 3.0
LINES = 1500


def test_the_reference_scenario_with_the_checked_build(
    benchmark: Any, rig: Rig, drive: Drive, reference: Scenario
) -> None:
    """The same bits, at a share of the plain build's speed; both are the best of five."""
    checked = Rig(build_image(drive, THRUSTER, compiler=replace(find_compiler(), checked=True)), drive)
    checked.watch()
    plain_s = []
    for _ in range(5 if benchmark.enabled else 1):
        begun_s = time.process_time()
        plain = rig.run(reference)
        plain_s.append(time.process_time() - begun_s)
    recording = benchmark.pedantic(lambda: checked.run(reference), rounds=5 if benchmark.enabled else 1)

    assert recording.digest() == plain.digest()
    assert len(checked.accesses()) > 100
    if benchmark.enabled:
        share = min(plain_s) / benchmark.stats.stats.min
        benchmark.extra_info["share_of_plain"] = share
        assert share >= LEAST_SHARE


def test_building_the_bow_thruster_with_all_checks(
    benchmark: Any, drive: Drive, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Compilers' CPU time included; the core, which is the same for every firmware, is built before."""
    compiler = replace(find_compiler(), checked=True)
    text = firmware_text(drive, THRUSTER)
    lines = sum(content.count(b"\n") for content in text.files.values())
    if not benchmark.enabled:
        benchmark.pedantic(lambda: build_image(drive, THRUSTER, compiler=compiler), rounds=1)
        assert lines >= LINES
        return
    monkeypatch.setenv("DRYSPIN_CACHE", str(tmp_path))
    build_image(drive, THRUSTER)  # the core with it
    used_s = []

    def build() -> None:
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        more = {f"again{len(used_s)}.c": f"int again{len(used_s)};\n"}
        build_image(drive, THRUSTER, compiler=compiler, more=more)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        used_s.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)

    benchmark.pedantic(build, rounds=3)
    benchmark.extra_info |= {"lines": lines, "compilers_s": min(used_s)}

    assert lines >= LINES
    assert min(used_s) <= MOST_BUILD_S
