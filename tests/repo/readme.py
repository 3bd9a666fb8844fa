"""The README as data: the blocks that follow `<!-- kind: name -->` lines.

`python -m tests.repo.readme` runs the commands and writes what they print into the output blocks.
"""

import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
README = ROOT / "README.md"

_BLOCK = re.compile(
    r"^<!-- (?P<kind>\w+): (?P<name>[\w -]+) -->\n```\w*\n(?P<body>.*?)^```$", re.DOTALL | re.MULTILINE
)


def blocks() -> dict[tuple[str, str], str]:
    """Bodies of all blocks by kind and name, such as ("command", "check")."""
    text = README.read_text(encoding="utf-8")
    return {(found["kind"], found["name"]): found["body"] for found in _BLOCK.finditer(text)}


def dryspin_command(name: str) -> str:
    """The `dryspin ...` part of a command block."""
    return blocks()["command", name].split("&&")[-1].strip()


def workplace(folder: Path) -> Path:
    """A stand-in for the checkout, in which commands may leave findings."""
    (folder / "firmware_under_test").symlink_to(ROOT / "firmware_under_test")
    (folder / "traces" / "found").mkdir(parents=True)
    return folder


def run(command: str, cwd: Path) -> tuple[int, str]:
    """Exit code and output of a `dryspin ...` command, run by this interpreter in `cwd`."""
    name, *arguments = command.split()
    if not name.endswith("dryspin"):
        raise ValueError(f"not a dryspin command: {command}")
    done = subprocess.run(
        [sys.executable, "-m", "dryspin.cli", *arguments],
        cwd=cwd,
        capture_output=True,
        text=True,
        env={**os.environ, "COLUMNS": "200", "NO_COLOR": "1"},
        check=False,
    )
    return done.returncode, done.stdout + done.stderr


def settled(output: str) -> str:
    """Output without what differs from machine to machine: the time it took."""
    timed = r"in [\d ]*[\d.]+ s \([\d ]*[\d.]+ times real time\)"
    return re.sub(timed, "in T s (R times real time)", output).strip()


def main() -> None:
    """Bring the output blocks up to date."""
    text = README.read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as scratch:
        place = workplace(Path(scratch))
        printed = {name: run(dryspin_command(name), place)[1] for kind, name in blocks() if kind == "output"}
    for name, output in printed.items():
        start = text.index(f"<!-- output: {name} -->\n```")
        begin = text.index("\n", text.index("```", start)) + 1
        end = text.index("```", begin)
        text = text[:begin] + output.strip() + "\n" + text[end:]
    README.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
