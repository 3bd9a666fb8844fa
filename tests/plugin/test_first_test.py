"""The plugin as a newcomer meets it: eight lines, a failure, a command to copy."""

import os
import re
import subprocess
import sys
from pathlib import Path

import dryspin.plugin
from dryspin.findings import read_finding
from dryspin.scenario import read_scenario

from ..small_firmware import BOW_THRUSTER
from .conftest import SCENARIO

PAGE = Path(dryspin.plugin.__file__).with_name("README.md")
KNOWN_BAD = BOW_THRUSTER.parent / "known_bad"

ALIGNS = (
    SCENARIO
    + """\
from hypothesis import Phase, example, settings
from dryspin.plugin import scenarios

@settings(phases=[Phase.explicit])
@example(scenario=FLAT)
@scenarios("arming")
def test_idle(rig, scenario):
    rig.holds(scenario)
"""
)


def example_of_the_page() -> str:
    """The code block that the page shows as a first test."""
    found = re.search(r"<!-- example: first test -->\n```python\n(.*?)```", PAGE.read_text(), re.DOTALL)
    assert found
    return found[1]


def test_a_first_test_is_eight_lines_and_passes_on_the_shipped_firmware(pytester, run):
    """As it stands in the page; more lines would be a hurdle."""
    pytester.makepyfile(test_thruster=example_of_the_page())
    result = run("--scenarios=2")

    assert len(example_of_the_page().splitlines()) <= 8
    result.assert_outcomes(passed=1)


def test_the_closing_summary_names_what_broke_and_the_command_that_replays_it(pytester, run):
    """A known-bad firmware drives at power-on; the finding that is named can be read."""
    (pytester.path / "traces" / "found").mkdir(parents=True)
    pytester.makepyfile(test_thruster=ALIGNS)
    result = run(firmware=KNOWN_BAD / "aligns_at_power_on")

    result.assert_outcomes(failed=1)
    result.stdout.fnmatch_lines(
        [
            "*dryspin: what broke*",
            "test_thruster.py::test_idle",
            "  broken  arming.idle*",
            "  commanded at *.c:*",
            "  replay: dryspin replay traces/found/arming-idle-1.toml",
        ]
    )
    assert read_finding(pytester.path / "traces/found/arming-idle-1.toml").claim == "arming.idle"


def test_the_summary_comes_through_from_another_process(pytester, run):
    """pytest-xdist: what broke in a worker is told, with its file, by the process that has the terminal."""
    (pytester.path / "traces" / "found").mkdir(parents=True)
    pytester.makepyfile(test_thruster=ALIGNS)
    result = run("-n", "1", firmware=KNOWN_BAD / "aligns_at_power_on")

    result.assert_outcomes(failed=1)
    result.stdout.fnmatch_lines(["*what broke*", "  replay: dryspin replay traces/found/arming-idle-1.toml"])
    assert (pytester.path / "traces/found/arming-idle-1.toml").is_file()


def test_an_assertion_of_the_tests_own_keeps_its_scenario(pytester, run):
    """No claim is there to name; the run can be repeated all the same."""
    (pytester.path / "traces" / "found").mkdir(parents=True)
    pytester.makepyfile(ALIGNS.replace("rig.holds(scenario)", "assert rig.run(scenario).end_s > 1.0"))
    result = run()

    result.assert_outcomes(failed=1)
    result.stdout.fnmatch_lines([f"  replay: dryspin run {BOW_THRUSTER} traces/found/test-idle.scenario"])
    assert read_scenario(pytester.path / "traces/found/test-idle.scenario").end_s == 0.2


def test_the_fixtures_name_the_drive_and_the_build(pytester, run):
    """What assertions compare with is read from the drive, not typed again."""
    pytester.makepyfile(
        """
        def test_drive(drive, firmware, rig):
            assert drive.throttle.neutral_us == 1500
            assert firmware.drive is drive
            assert rig.firmware is firmware
        """
    )

    run().assert_outcomes(passed=1)


def test_loading_the_plugin_imports_nothing_heavy():
    """Every pytest run on the machine loads it, also those that have nothing to do with drives."""
    code = (
        "import sys, dryspin.plugin; heavy = {'numpy', 'hypothesis', 'cffi', 'click', 'elftools'};"
        "sys.exit(str(heavy & set(sys.modules)) if heavy & set(sys.modules) else 0)"
    )
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}

    assert subprocess.run([sys.executable, "-c", code], env=environment).returncode == 0
