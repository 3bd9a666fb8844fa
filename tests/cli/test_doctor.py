"""`dryspin doctor`: what it says of a machine that can do the job, and of ones that cannot."""

import json
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from dryspin.build import find_compiler
from dryspin.cli import machine
from dryspin.cli.command import exit_code

from .test_command import COMMAND, ENVIRONMENT

pytestmark = pytest.mark.slow

ROOT = Path(__file__).parents[2]
NAMES = ["system", "Python", "dependencies", "compiler", "binutils", "cache", "C library", "rig"]


@pytest.fixture(autouse=True)
def _fresh(tmp_path, monkeypatch):
    """A cache of its own; the compiler is looked for again before and after."""
    monkeypatch.setenv("DRYSPIN_CACHE", str(tmp_path / "cache"))
    monkeypatch.delenv("CC", raising=False)
    find_compiler.cache_clear()
    yield
    find_compiler.cache_clear()


def diagnosis(capsys):
    """Exit code, and the looks by name as the JSON has them."""
    code = exit_code(["doctor", "--json"])
    said = json.loads(capsys.readouterr().out)
    assert said["schema"] == 1
    assert said["usable"] == (code == 0)
    return code, {check["name"]: check for check in said["checks"]}


def test_a_sound_machine_passes_every_look(capsys):
    """The rig's look runs a firmware and holds its current against a closed form."""
    code, looks = diagnosis(capsys)

    assert code == 0
    assert list(looks) == NAMES
    assert {look["status"] for look in looks.values()} == {"ok"}
    assert looks["rig"]["text"].startswith("10 ms of a probe firmware: 9.1")


def test_a_missing_compiler_comes_with_what_to_install(capsys, monkeypatch):
    """And nothing that needs it is tried."""
    monkeypatch.setenv("CC", "no-such-compiler")
    code, looks = diagnosis(capsys)

    assert code == 2
    assert looks["compiler"]["status"] == "failed"
    assert looks["compiler"]["text"] == "no C compiler found (looked for no-such-compiler)"
    assert "apt-get install gcc libc6-dev" in looks["compiler"]["remedy"]
    assert looks["C library"] == {
        "name": "C library",
        "status": "not tried",
        "text": "needs compiler",
        "remedy": "",
    }
    assert looks["rig"]["status"] == "not tried"
    assert looks["cache"]["status"] == "ok"


def test_a_compiler_without_headers_comes_with_what_to_install(capsys, monkeypatch):
    """A compiler alone is what a bare Debian machine has."""
    monkeypatch.setenv("CC", "gcc -nostdinc")
    code, looks = diagnosis(capsys)

    assert code == 2
    assert looks["compiler"]["status"] == "ok"
    assert looks["C library"]["status"] == "failed"
    assert "stdint.h" in looks["C library"]["text"]
    assert looks["C library"]["remedy"] == "on Debian: apt-get install libc6-dev"


def test_missing_tools_are_named(capsys, monkeypatch):
    """The firmware's objects are joined by them."""
    found = machine.shutil.which
    monkeypatch.setattr(machine.shutil, "which", lambda tool: None if tool == "objcopy" else found(tool))
    code, looks = diagnosis(capsys)

    assert code == 2
    assert looks["binutils"]["text"] == "objcopy not found"
    assert looks["binutils"]["remedy"] == "on Debian: apt-get install binutils"


def test_a_cache_that_cannot_be_written_is_named_with_the_way_out(capsys, monkeypatch, tmp_path):
    """Even root cannot make a folder inside a file."""
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("DRYSPIN_CACHE", str(tmp_path / "file" / "cache"))
    code, looks = diagnosis(capsys)

    assert code == 2
    assert looks["cache"]["text"] == f"{tmp_path}/file/cache cannot be written (Not a directory)"
    assert "DRYSPIN_CACHE" in looks["cache"]["remedy"]
    assert looks["rig"]["status"] == "not tried"


def test_a_full_disk_is_named(capsys, monkeypatch):
    """Half-built libraries help nobody."""
    monkeypatch.setattr(machine, "FREE_MB", 10**12)
    code, looks = diagnosis(capsys)

    assert code == 2
    assert looks["cache"]["text"].endswith(" MB free, 1000000000000 MB wanted")


def test_a_dependency_that_is_missing_or_old_is_named(capsys, monkeypatch):
    """With the command that mends it, for the interpreter that runs."""
    monkeypatch.setattr(machine, "DEPENDENCIES", {"numpy": "999", "no-such-package": "1"})
    code, looks = diagnosis(capsys)

    assert code == 2
    assert "is older than 999, no-such-package is missing" in looks["dependencies"]["text"]
    assert looks["dependencies"]["remedy"].startswith(sys.executable)


def test_another_system_is_told_the_way_round(capsys, monkeypatch):
    """The rig needs Linux; a container will do."""
    monkeypatch.setattr(machine.platform, "system", lambda: "Windows")
    code, looks = diagnosis(capsys)

    assert code == 2
    assert "Linux x86-64" in looks["system"]["text"]
    assert "container" in looks["system"]["remedy"]
    assert looks["compiler"]["status"] == "not tried"


def test_a_rig_that_computes_wrongly_is_noticed(capsys, monkeypatch):
    """A look that cannot fail would prove nothing."""
    monkeypatch.setattr(machine, "CURRENT_TOLERANCE", 1e-9)
    code, looks = diagnosis(capsys)

    assert code == 2
    assert looks["rig"]["status"] == "failed"
    assert looks["rig"]["text"].startswith("the probe's current is 9.1")


def test_a_surprise_in_one_look_leaves_the_others(capsys, monkeypatch):
    """No traceback, and the rest of the table is still of use."""
    monkeypatch.setattr(machine.shutil, "disk_usage", lambda _: 1 / 0)
    code, looks = diagnosis(capsys)

    assert code == 2
    assert looks["cache"]["text"] == "ZeroDivisionError: division by zero"
    assert looks["compiler"]["status"] == "ok"


def test_oldest_versions_are_those_of_the_package():
    """The table here and the one pip reads must not drift apart."""
    wanted = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["dependencies"]

    assert [f"{name}>={oldest}" for name, oldest in machine.DEPENDENCIES.items()] == wanted


def test_every_line_that_fails_says_what_to_do(capsys, monkeypatch):
    """As text: the remedy stands below its line."""
    monkeypatch.setenv("CC", "no-such-compiler")
    assert exit_code(["doctor"]) == 2
    lines = capsys.readouterr().out.splitlines()
    failed = [k for k, line in enumerate(lines) if line.startswith("failed")]

    assert len(failed) == 1
    assert lines[failed[0] + 1].split("-> ")[1].startswith("install one, on Debian `apt-get install gcc")
    assert sum(line.startswith("ok ") for line in lines) == 5
    assert sum(line.startswith("not tried ") for line in lines) == 2


@pytest.mark.parametrize(("setting", "coloured"), [({}, True), ({"NO_COLOR": "1"}, False)])
def test_colours_are_for_terminals_that_want_them(setting, coloured):
    """FORCE_COLOR stands for the terminal; NO_COLOR (no-color.org) wins."""
    environment = {k: v for k, v in ENVIRONMENT.items() if k != "NO_COLOR"}
    environment |= {"FORCE_COLOR": "1", "TERM": "xterm", "CC": "no-such-compiler", **setting}
    done = subprocess.run([*COMMAND, "doctor"], env=environment, capture_output=True, text=True)

    assert done.returncode == 2
    assert ("\x1b[3" in done.stdout or "\x1b[1;3" in done.stdout) == coloured


def test_the_probe_leaves_nothing_but_its_build(tmp_path, capsys):
    """The scratch folders of the looks are gone afterwards."""
    assert exit_code(["doctor"]) == 0

    assert not list((tmp_path / "cache").glob("doctor*"))
