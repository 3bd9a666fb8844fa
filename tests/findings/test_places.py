"""Where findings go, under which names, and which of them belong to a firmware."""

from pathlib import Path

import pytest

from dryspin.errors import FindingError, UsageError
from dryspin.findings import findings_folder, kept_findings, require_writable, save_finding
from dryspin.findings.file import write_new_finding
from dryspin.scenario import Scenario

from .samples import SCENARIO, finding

OTHER = Scenario(seed=0, end_s=1.0, rest_deg=0.0, frame_ms=20.0, throttle_us=((0.0, 1500.0),))


def test_findings_go_to_the_asked_folder_first(tmp_path, monkeypatch):
    """--save wins over everything."""
    monkeypatch.chdir(tmp_path)
    Path("traces/found").mkdir(parents=True)

    assert findings_folder(Path("fw"), Path("here")) == Path("here")


def test_findings_go_to_the_repositorys_folder_where_there_is_one(tmp_path, monkeypatch):
    """A project keeps the findings of all its firmware together."""
    monkeypatch.chdir(tmp_path)
    Path("traces/found").mkdir(parents=True)

    assert findings_folder(Path("fw")) == Path("traces/found")


def test_findings_go_beside_the_firmware_otherwise(tmp_path, monkeypatch):
    """Nothing is created where the user happens to stand."""
    monkeypatch.chdir(tmp_path)

    assert findings_folder(Path("fw")) == Path("fw/found")


def test_a_finding_is_numbered_by_claim(tmp_path):
    """File names say what broke."""
    first = save_finding(tmp_path, finding(tmp_path))
    second = save_finding(tmp_path, finding(tmp_path, scenario=OTHER))

    assert first.name == "reversal-opposing-drive-1.toml"
    assert second.name == "reversal-opposing-drive-2.toml"


def test_the_same_finding_keeps_its_name(tmp_path):
    """A check run twice does not fill the folder."""
    first = save_finding(tmp_path, finding(tmp_path))
    again = save_finding(tmp_path, finding(tmp_path, hashes={**finding(tmp_path).hashes, "build": "b1"}))

    assert again == first
    assert len(list(tmp_path.glob("*.toml"))) == 1


def test_a_name_taken_by_something_else_is_left_alone(tmp_path):
    """The next number is free."""
    (tmp_path / "reversal-opposing-drive-1.toml").write_text("mine")

    assert save_finding(tmp_path, finding(tmp_path)).name == "reversal-opposing-drive-2.toml"
    assert (tmp_path / "reversal-opposing-drive-1.toml").read_text() == "mine"


def test_only_findings_of_the_firmware_are_its_kept_ones(tmp_path):
    """Several firmwares share ./traces/found, and one firmware may be checked with several drives."""
    mine = save_finding(tmp_path / "found", finding(tmp_path))
    save_finding(tmp_path / "found", finding(tmp_path, firmware=tmp_path / "other"))
    save_finding(tmp_path / "found", finding(tmp_path, drive=tmp_path / "firmware" / "lab.toml"))
    drive_file = tmp_path / "firmware" / "drive.toml"

    kept = kept_findings(tmp_path / "found", tmp_path / "firmware", drive_file)

    assert [path for path, _ in kept] == [mine]
    assert kept[0][1].scenario == SCENARIO
    assert kept_findings(tmp_path / "nowhere", tmp_path / "firmware", drive_file) == []


def test_a_damaged_kept_finding_is_not_passed_over(tmp_path):
    """A test that silently stopped running is worse than an error."""
    (tmp_path / "gates-1.toml").write_text("dryspin_finding = 1\n")

    with pytest.raises(FindingError, match=r"gates-1\.toml: lacks the table \[hashes\]"):
        kept_findings(tmp_path, tmp_path / "firmware", tmp_path / "firmware" / "drive.toml")


def test_asking_for_a_folder_creates_nothing(tmp_path):
    """A check that finds nothing leaves nothing."""
    require_writable(tmp_path / "a" / "b")

    assert list(tmp_path.iterdir()) == []


def test_a_folder_below_a_file_is_refused(tmp_path):
    """Before the search, not after it."""
    (tmp_path / "file").write_text("")

    with pytest.raises(UsageError, match=r"cannot be written to .*; give another folder with --save"):
        require_writable(tmp_path / "file" / "found")


def test_a_name_that_is_taken_this_very_moment_is_left_to_the_other(tmp_path):
    """Two processes that save at once: the second looks again, and takes the next number."""
    first = save_finding(tmp_path, finding(tmp_path))
    before = first.read_bytes()

    assert not write_new_finding(first, finding(tmp_path, scenario=OTHER))
    assert first.read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == [first.name]
