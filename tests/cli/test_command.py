"""The command as a whole: help that teaches, exit codes, and calm in every calamity."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from dryspin.cli.command import dryspin, exit_code

from ..search.subject import BOW_THRUSTER
from .test_bad_input import SCENARIO

ENVIRONMENT = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
COMMAND = [sys.executable, "-m", "dryspin.cli"]


@pytest.fixture(autouse=True)
def _elsewhere(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)


@pytest.mark.parametrize(
    "caution", ["propeller off", "eye protection", "current limit", "fire", "Local codes"]
)
def test_help_begins_with_safety(capsys, caution):
    """Whoever reads the first page once must have met them."""
    assert exit_code(["--help"]) == 0
    text = " ".join(capsys.readouterr().out.split())

    assert caution in text
    assert "no permission to spin" in text


@pytest.mark.parametrize("command", sorted(dryspin.commands))
def test_every_command_explains_its_exit_codes(capsys, command):
    """Scripts depend on them."""
    assert exit_code([command, "--help"]) == 0
    text = " ".join(capsys.readouterr().out.split())

    assert "Exits with" in text
    assert " 2 " in text


def test_help_does_not_wait_for_numpy(tmp_path):
    """A page of text in a blink; measured by what is imported, not by the clock."""
    code = (
        "import sys; from dryspin.cli.command import exit_code; exit_code(['check', '--help']);"
        "sys.exit('numpy' in sys.modules or 'hypothesis' in sys.modules)"
    )

    assert subprocess.run([sys.executable, "-c", code], env=ENVIRONMENT, capture_output=True).returncode == 0


def test_a_run_prints_every_verdict_and_the_extremes(tmp_path, capsys):
    """And saves a recording that can be read again."""
    from dryspin.recording import load_recording

    (tmp_path / "s.toml").write_text(SCENARIO)
    assert exit_code(["run", str(BOW_THRUSTER), "s.toml", "--out", "r.npz"]) == 0
    out = capsys.readouterr().out

    assert "held  arming.idle" in out
    assert "not exercised  reversal.in_time" in out
    assert "top speed 0 rpm" in out
    assert load_recording(tmp_path / "r.npz").digest() in out


def test_a_run_as_json_is_json_and_nothing_else(tmp_path, capsys):
    """So that it can be piped."""
    (tmp_path / "s.toml").write_text(SCENARIO)
    assert exit_code(["run", str(BOW_THRUSTER), "s.toml", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)

    assert data["schema"] == 1
    assert data["simulated_s"] == pytest.approx(0.2, abs=1e-3)
    assert {claim["family"] for claim in data["claims"]} >= {"gates", "arming"}


def test_a_small_check_writes_its_json(tmp_path, capsys):
    """A dozen scenarios of the thruster: the result is written whatever it is, and agrees with the code."""
    code = exit_code(["check", str(BOW_THRUSTER), "--scenarios", "12", "--json", "r.json", "--save", "found"])
    data = json.loads((tmp_path / "r.json").read_text())
    out = capsys.readouterr().out

    assert data["totals"]["scenarios"] == 12
    assert data["totals"]["simulated_s"] > 20.0
    verdicts = {claim["verdict"] for claim in data["claims"]}
    assert code == (0 if verdicts == {"held"} else 1)
    assert "bow thruster, pack: 12 scenarios" in out


def test_an_unforeseen_exception_is_a_short_text(monkeypatch, capsys):
    """Never a traceback, unless asked for; and the way to report it."""
    monkeypatch.setattr("dryspin.findings.load_subject", lambda *_: 1 / 0)
    assert exit_code(["check", "fw"]) == 2
    err = capsys.readouterr().err
    monkeypatch.setenv("DRYSPIN_TRACEBACK", "1")
    assert exit_code(["check", "fw"]) == 2

    assert "failed by a defect of its own: ZeroDivisionError" in err
    assert "Please report it" in err
    assert "Traceback" not in err
    assert "Traceback" in capsys.readouterr().err


def test_an_unforeseen_exception_in_a_worker_is_a_short_text(monkeypatch, capsys):
    """The same, from another process."""
    monkeypatch.setattr("dryspin.findings.Subject.judge", lambda *_, **__: 1 / 0)
    assert exit_code(["check", str(BOW_THRUSTER), "--save", "found"]) == 2
    err = capsys.readouterr().err

    assert "failed by a defect of its own: ZeroDivisionError: division by zero" in err
    assert "Traceback" not in err


def test_an_interrupt_inside_python_is_calm(monkeypatch, capsys):
    """Exit code 130, as shells have it."""

    def interrupt(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr("dryspin.findings.load_subject", interrupt)

    assert exit_code(["check", "fw"]) == 130
    assert capsys.readouterr().err == "\ninterrupted; nothing was saved\n"


@pytest.mark.parametrize(
    "send",
    [lambda pid: os.killpg(pid, signal.SIGINT), lambda pid: os.kill(pid, signal.SIGTERM)],
    ids=["ctrl-c", "terminated"],
)
def test_a_signal_ends_a_check_and_its_workers(tmp_path, send):
    """A terminal's Ctrl-C reaches the whole group, a time limit only us; no worker may stay or complain."""
    arguments = ["check", str(BOW_THRUSTER), "--scenarios", "100000", "--workers", "2", "--save", "found"]
    with subprocess.Popen(
        [*COMMAND, *arguments],
        env=ENVIRONMENT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        # A shell's background job, as which tests may run, has Ctrl-C ignored, and so have its children.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    ) as process:
        try:
            while len(workers := _workers(process.pid)) < 2:
                assert process.poll() is None
                time.sleep(0.01)
            send(process.pid)
            out, err = process.communicate(timeout=600)
        finally:
            if process.poll() is None:
                os.killpg(process.pid, signal.SIGKILL)

    assert process.returncode == 130
    assert (out, err) == ("", "\ninterrupted; nothing was saved\n")
    assert not any(Path(f"/proc/{worker}").exists() for worker in workers)
    assert list(tmp_path.iterdir()) == []


def test_a_reader_that_leaves_is_no_defect(tmp_path):
    """dryspin ... | head."""
    read, write = os.pipe()
    os.close(read)
    (tmp_path / "s.toml").write_text(SCENARIO)
    arguments = ["run", str(BOW_THRUSTER), "s.toml"]
    process = subprocess.run(
        [*COMMAND, *arguments], env=ENVIRONMENT, stdout=write, stderr=subprocess.PIPE, text=True
    )
    os.close(write)

    assert process.stderr == ""


def _workers(pid: int) -> list[int]:
    """Children of the process `pid` that are copies of itself (the compiler is none)."""
    own = Path(f"/proc/{pid}/cmdline").read_bytes()
    found = []
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            parent = int(path.read_text().rpartition(")")[2].split()[1])
            if parent == pid and (path.parent / "cmdline").read_bytes() == own:
                found.append(int(path.parent.name))
        except (FileNotFoundError, ProcessLookupError):
            continue
    return found
