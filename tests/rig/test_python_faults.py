"""A fault outside the firmware belongs to Python, not to the rig."""

import subprocess
import sys

from ..small_firmware import BOW_THRUSTER

SCRIPT = f"""
import ctypes, faulthandler, threading, time
from pathlib import Path
faulthandler.enable()
from dryspin.build import build_image
from dryspin.drive import load_drive
from dryspin.rig import Rig
from dryspin.scenario import Scenario

folder = Path({str(BOW_THRUSTER)!r})
drive = load_drive(folder)
rig = Rig(build_image(drive, folder), drive)
scenario = Scenario(seed=1, end_s=0.5, rest_deg=0.0, frame_ms=20.0, throttle_us=((0.0, 1500.0),))
rig.run(scenario)
"""

AFTER = "ctypes.string_at(0)\n"

MEANWHILE = """
def fault():
    time.sleep(0.2)
    ctypes.string_at(0)

threading.Thread(target=fault).start()
while True:
    rig.run(scenario)
"""


def run_python(script: str) -> subprocess.CompletedProcess[str]:
    """Run a script that dies."""
    return subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, timeout=60, check=False
    )


def test_faulthandler_reports_a_fault_after_a_run() -> None:
    """The rig gives the signals back when a run ends."""
    done = run_python(SCRIPT + AFTER)

    assert done.returncode == -11
    assert "Fatal Python error: Segmentation fault" in done.stderr


def test_faulthandler_reports_a_fault_in_another_thread_during_a_run() -> None:
    """The rig takes only what happens on the firmware's stack."""
    done = run_python(SCRIPT + MEANWHILE)

    assert done.returncode == -11
    assert "Fatal Python error: Segmentation fault" in done.stderr
    assert "in fault" in done.stderr
