"""The README's commands are the ones CI runs, and its outputs are what the commands print."""

import re
from pathlib import Path

import pytest

from .readme import README, ROOT, blocks, dryspin_command, run, settled, workplace

TEXT = README.read_text(encoding="utf-8")


def test_exactly_two_commands_do_all_set_up() -> None:
    """One installs and runs the main job, one installs and passes the tests; CI evaluates these lines."""
    set_up = [name for (kind, name), body in blocks().items() if kind == "command" and "pip install" in body]
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")

    assert set_up == ["check", "test"]
    for name in set_up:
        body = blocks()["command", name]
        assert body.startswith("python3 -m venv .venv && .venv/bin/pip install")
        assert len(body.splitlines()) == 1
        assert f'eval "$(readme_command {name})"' in script


@pytest.mark.slow
def test_commands_print_what_the_readme_shows(tmp_path: Path) -> None:
    """The main job as a new user runs it, a firmware that fails it, and the replay of what was found."""
    place = workplace(tmp_path)
    for name, code in (("check", 0), ("failing check", 1), ("replay", 1)):
        got, output = run(dryspin_command(name), place)

        assert settled(output) == settled(blocks()["output", name])
        assert got == code


def test_files_named_in_the_readme_exist() -> None:
    """Links that lead nowhere are worse than none."""
    for target in re.findall(r"\]\(([^)#:]+)(?:#[\w-]*)?\)", TEXT):
        assert (ROOT / target).exists(), target
