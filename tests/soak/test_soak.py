"""A soak loses nothing: killed, out of room, in company, with damaged files. And it is one search."""

import errno
import json
import os
import signal
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from dryspin.cli.command import exit_code
from dryspin.errors import FindingError, RigError, UsageError
from dryspin.findings import read_finding
from dryspin.scenario import read_scenario
from dryspin.soak import Journal, Soaked, soak

from ..search.subject import StandIn, broken, held, reversal_at_s

DECLARED = ("gates.dead_time", "reversal.opposing_drive")
PER_BATCH, SHRINK_TRIALS = 6, 6
"""Instead of twenty and sixty: neither how much a batch holds nor how short a finding gets is looked at."""

SCENARIOS = 24
"""Four batches."""


def judge(scenario):
    """Gates always hold; a reversal breaks its claim."""
    yield held("gates.dead_time", 0.5)
    at_s = reversal_at_s(scenario)
    line = "turn.c:7" if at_s is not None else ""
    yield (
        replace(broken("reversal.opposing_drive", at_s), source_line=line)
        if at_s is not None
        else held("reversal.opposing_drive")
    )


def subject_in(folder: Path, judge=judge, declared=DECLARED) -> StandIn:
    """A stand-in whose directory and drive file exist, as those of a finding must."""
    folder.mkdir(parents=True, exist_ok=True)
    return StandIn(folder, judge, declared)


def soaked(below: Path, judge=judge, **changes) -> Soaked:
    """A soak of the stand-in with all its files below a folder."""
    options = {"scenarios": SCENARIOS, "workers": 2, "folder": below / "soak", "save": below / "found"}
    return soak(subject_in(below / "firmware", judge), **{**options, **changes})


def essence(result: Soaked) -> object:
    """What must not depend on how it came about: all but paths and what earlier commands did."""
    return (
        *(result.scenarios, result.simulated_s, result.claims),
        [(claim, line, read_finding(Path(file)).scenario) for claim, line, file in result.findings],
    )


@pytest.fixture(scope="module", autouse=True)
def _quick():
    """For this process and the workers that are forked from it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("dryspin.soak.batch.SHRINK_TRIALS", SHRINK_TRIALS)
        patch.setattr("dryspin.soak.batch.PER_BATCH", PER_BATCH)
        yield


@pytest.fixture(scope="module")
def straight(tmp_path_factory):
    """An uninterrupted soak."""
    return soaked(tmp_path_factory.mktemp("straight"))


def test_what_breaks_is_one_finding_however_often(straight):
    """Hundreds of scenarios may break one claim at one line; a person reads it once."""
    held_times, broken_times, _, _ = straight.claims["reversal.opposing_drive"]

    assert straight.scenarios == held_times + broken_times == SCENARIOS
    assert broken_times > 1
    assert [(claim, line) for claim, line, _ in straight.findings] == [
        ("reversal.opposing_drive", "turn.c:7")
    ]
    assert not straight.passed


def test_the_number_of_workers_never_shows(tmp_path, straight):
    """Which process found it first must not decide what is kept."""
    assert essence(soaked(tmp_path, workers=1)) == essence(straight)
    assert essence(soaked(tmp_path / "four", workers=4)) == essence(straight)


def test_the_same_command_again_counts_what_is_done(tmp_path, straight):
    """And another budget goes on from there."""
    first = soaked(tmp_path, scenarios=12)
    whole = soaked(tmp_path)

    assert (first.scenarios, whole.resumed) == (12, 12)
    assert essence(whole) == essence(straight)
    assert soaked(tmp_path).resumed == SCENARIOS


def test_a_budget_of_simulated_time_ends_it_after_a_round(tmp_path):
    """Seconds of the model, never of the clock."""
    result = soaked(tmp_path, scenarios=1000, simulated_s=1.0)

    assert result.scenarios == 8 * PER_BATCH
    assert result.simulated_s > 1.0


KILLED = """
import os, signal, sys
from pathlib import Path
import dryspin.soak.batch
from tests.soak.test_soak import PER_BATCH, SHRINK_TRIALS, judge, soaked

dryspin.soak.batch.SHRINK_TRIALS = SHRINK_TRIALS
dryspin.soak.batch.PER_BATCH = PER_BATCH

def deadly(scenario):
    # the workers of the third batch and later end the whole soak, as kill -9 would
    done = list(Path(sys.argv[1], "soak").glob("*.jsonl"))
    if done and len(done[0].read_bytes().splitlines()) >= 2:
        os.kill(os.getppid(), signal.SIGKILL)
        os._exit(1)
    yield from judge(scenario)

soaked(Path(sys.argv[1]), deadly, workers=1)
"""


def test_a_soak_killed_at_once_goes_on_without_losing_a_finding(tmp_path, straight):
    """kill -9 in the middle of a batch; what is done is counted, the rest is run again."""
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join([str(Path(__file__).parents[2]), *sys.path])}
    killed = subprocess.run([sys.executable, "-c", KILLED, str(tmp_path)], env=environment)
    resumed = soaked(tmp_path)

    assert killed.returncode == -signal.SIGKILL
    assert resumed.resumed == 2 * PER_BATCH
    assert essence(resumed) == essence(straight)


def test_a_full_disk_ends_it_with_a_word_and_nothing_is_lost(tmp_path, straight, monkeypatch):
    """No room for the third batch; with room again all is as if there had always been some."""
    sync, calls = os.fsync, iter(range(1000))

    def full(handle):
        if next(calls) >= 3:  # one is that of the finding
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        sync(handle)

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(FindingError, match=r"No space left on device.*ake room and give the same command"):
        soaked(tmp_path, workers=1)
    monkeypatch.undo()
    resumed = soaked(tmp_path)

    assert resumed.resumed == 2 * PER_BATCH
    assert resumed.set_aside == ()
    assert essence(resumed) == essence(straight)


def test_a_journal_on_a_full_device_says_so(tmp_path):
    """The device that is always full, as the system has it."""
    journal = Journal(tmp_path / "j.jsonl")
    journal.path.symlink_to("/dev/full")

    with pytest.raises(FindingError, match="No space left on device"):
        journal.add({"batch": 0})
    assert journal.entries == {}


HOLDING = """
import sys
from pathlib import Path
from dryspin.soak import opened
with opened(Path(sys.argv[1]), "key"):
    print("ready", flush=True)
    sys.stdin.read()
"""


def test_a_second_soak_in_the_folder_is_refused(tmp_path):
    """Both would do the same work; the first goes on undisturbed, and its lock ends with it."""
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    command = [sys.executable, "-c", HOLDING, str(tmp_path / "soak")]
    with subprocess.Popen(
        command, env=environment, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as first:
        assert first.stdout is not None
        assert first.stdout.readline() == "ready\n"
        with pytest.raises(UsageError, match=rf"another soak works here \(process {first.pid}\)"):
            soaked(tmp_path, scenarios=2)
        first.kill()

    assert soaked(tmp_path, scenarios=2).scenarios == 2


def test_two_soaks_that_share_a_folder_of_findings_lose_none(tmp_path, straight):
    """Each under its own name, whoever writes first."""
    one = soaked(tmp_path, save=tmp_path / "shared")
    two = soaked(tmp_path, seed=1, folder=tmp_path / "other", save=tmp_path / "shared")

    kept = sorted(path.name for path in (tmp_path / "shared").iterdir())
    assert essence(one) == essence(straight)
    assert {Path(file).name for _, _, file in (*one.findings, *two.findings)} == set(kept)


def test_a_damaged_line_of_the_journal_is_set_aside_and_its_batch_run_again(tmp_path, straight):
    """A torn end, and nonsense in the middle; the message names lines and file."""
    soaked(tmp_path)
    journal = next((tmp_path / "soak").glob("*.jsonl"))
    lines = journal.read_bytes().splitlines(keepends=True)
    journal.write_bytes(b"".join([lines[0], b"\x00\xff nonsense\n", *lines[2:-1], lines[-1][:40]]))
    again = soaked(tmp_path)

    assert again.set_aside[0].startswith(f"{journal}: line 2, 4 is damaged or cut off, and was set aside in ")
    assert journal.with_suffix(".damaged").read_bytes().startswith(b"\x00\xff nonsense\n")
    assert again.resumed == 2 * PER_BATCH
    assert essence(again) == essence(straight)


def test_a_damaged_finding_is_set_aside_and_found_again(tmp_path, straight):
    """A file cut in half; what it held is looked for in the batches that broke it."""
    first = soaked(tmp_path)
    path = Path(first.findings[0][2])
    path.write_text(path.read_text()[:100])
    again = soaked(tmp_path)

    assert "set aside as reversal-opposing-drive-1.toml.damaged, and looked for again" in again.set_aside[0]
    assert essence(again) == essence(straight)


def test_a_finding_that_is_gone_is_found_again(tmp_path, straight):
    """Somebody tidied up."""
    first = soaked(tmp_path)
    Path(first.findings[0][2]).unlink()
    again = soaked(tmp_path)

    assert "is gone; reversal.opposing_drive is looked for again" in again.set_aside[0]
    assert essence(again) == essence(straight)


def test_a_crash_of_the_firmware_is_a_finding_and_not_the_end(tmp_path):
    """Told once, with a scenario to run; the other scenarios are counted as ever."""

    def crashes(scenario):
        if reversal_at_s(scenario) is not None:
            raise RigError(f"the firmware crashed at turn.c:9 after {scenario.end_s} s: a bad address")
        return judge(scenario)

    result = soaked(tmp_path, crashes)

    assert result.scenarios == SCENARIOS
    assert len(result.failed) == 1
    assert "crashed at turn.c:9" in result.failed[0][0]
    assert reversal_at_s(read_scenario(Path(result.failed[0][1]))) is not None


def test_a_worker_that_dies_is_a_finding_and_not_the_end(tmp_path):
    """The scenario it was at is kept, and the other batches are run."""

    def kills(scenario):
        if reversal_at_s(scenario) is not None and scenario.rest_deg > 180.0:
            os.kill(os.getpid(), signal.SIGKILL)
        return judge(scenario)

    result = soaked(tmp_path, kills)
    (text, file), *_ = result.failed

    assert "a worker process died (signal SIGKILL)" in text
    assert read_scenario(Path(file)).rest_deg > 180.0
    assert result.claims["gates.dead_time"][0] >= PER_BATCH
    assert list((tmp_path / "soak").glob(".under-way*")) == []


def test_the_command_tells_the_whole_in_one_summary(tmp_path, capsys, monkeypatch):
    """Text and JSON, with the command that replays; the stand-in takes the place of a built firmware."""
    monkeypatch.setattr("dryspin.findings.load_subject", lambda *_: subject_in(tmp_path / "firmware"))
    places = ["--folder", str(tmp_path / "soak"), "--save", str(tmp_path / "found")]
    arguments = ["soak", str(tmp_path), "--scenarios", "12", *places, "--json", str(tmp_path / "r.json")]
    code = exit_code(arguments)
    out = capsys.readouterr().out
    told = json.loads((tmp_path / "r.json").read_text())

    assert code == 1
    assert "12 scenarios" in out
    assert "broken  reversal.opposing_drive, commanded at turn.c:7" in out
    assert f"replay: dryspin replay {tmp_path}/found/reversal-opposing-drive-1.toml" in out
    assert told["findings"][0]["claim"] == "reversal.opposing_drive"
    assert exit_code(arguments) == 1
    assert "12 of them by earlier commands" in capsys.readouterr().out
