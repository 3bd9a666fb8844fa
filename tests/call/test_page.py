"""The page beside the package is what it says: its test file passes, and its XML tells."""

import os
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import dryspin.call

from ..small_firmware import BOW_THRUSTER

PAGE = (Path(dryspin.call.__file__).parent / "README.md").read_text(encoding="utf-8")


def block(name: str) -> str:
    """The body of the block that follows `<!-- NAME -->`."""
    return re.search(rf"^<!-- {name} -->\n```\w+\n(.*?)^```$", PAGE, re.DOTALL | re.MULTILINE)[1]


def test_the_example_runs_under_pytest_and_writes_its_xml(tmp_path):
    """As in a CI of the reader's own."""
    (tmp_path / "firmware_under_test").symlink_to(BOW_THRUSTER.parent)
    (tmp_path / "test_steps.py").write_text(block(r"file: test_steps\.py"))
    command = block("command: junit").split()
    done = subprocess.run(
        [sys.executable, "-m", *command, "-p", "no:cacheprovider"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
        capture_output=True,
        text=True,
        check=False,
    )
    suite = ET.parse(tmp_path / "functions.xml").getroot()[0]

    assert done.returncode == 0, done.stdout + done.stderr
    assert [case.get("name") for case in suite.iter("testcase")] == [
        "test_six_steps_lead_back[1]",
        "test_six_steps_lead_back[2]",
    ]
    assert (suite.get("failures"), suite.get("errors")) == ("0", "0")


def test_the_first_lines_give_what_their_comments_say():
    """The result and the error of the first session."""
    lines = [
        line.strip() for line in PAGE.splitlines() if line.strip().startswith("firmware.call.steps_next")
    ]
    firmware = dryspin.call.load_firmware(BOW_THRUSTER)
    for line in lines[:2]:
        call, _, said = line.partition("#")
        try:
            got = str(eval(call, {"firmware": firmware}))
        except dryspin.errors.CallError as error:
            got = f"CallError: {str(error).partition(': ')[2]}"
        assert got == said.strip()
