"""Replay: today's verdict, and what moved since."""

from dryspin.findings import Outcome, Trial, replay, replay_on

from .samples import HASHES, OUTCOME, SCENARIO, finding


class Firmware:
    """Gives one outcome whatever the scenario; notes what it was asked to run."""

    def __init__(self, outcome: Outcome, digest="0123", **hashes) -> None:
        self.hashes = {**HASHES, **hashes}
        self._trial = Trial((outcome,), 1.25, digest)
        self.ran = []

    def try_out(self, scenario):
        self.ran.append(scenario)
        return self._trial


HELD = Outcome("reversal.opposing_drive", "held", 0.9)


def test_the_same_firmware_gives_the_same_recording(tmp_path):
    """Same input, same run, to the bit."""
    firmware = Firmware(OUTCOME)
    replayed = replay_on(firmware, finding(tmp_path))

    assert firmware.ran == [SCENARIO]
    assert replayed.outcome == OUTCOME
    assert replayed.as_expected
    assert replayed.same_digest
    assert replayed.moved == ()
    assert not replayed.unrepeatable


def test_a_mended_firmware_is_told_apart(tmp_path):
    """Old and new hash are listed: which of firmware, drive, claims and build moved."""
    replayed = replay_on(Firmware(HELD, "4567", firmware="f1", build="b1"), finding(tmp_path))

    assert not replayed.as_expected
    assert replayed.moved == (("firmware", "f0", "f1"), ("build", "b0", "b1"))
    assert not replayed.unrepeatable


def test_a_finding_kept_as_held_expects_held(tmp_path):
    """Kept after the bug was mended, it guards against its return."""
    assert replay_on(Firmware(HELD), finding(tmp_path, expected="held")).as_expected
    assert not replay_on(Firmware(OUTCOME), finding(tmp_path, expected="held")).as_expected


def test_another_recording_of_the_same_build_is_a_defect(tmp_path):
    """Nothing that the run depends on moved: the recording must not differ."""
    assert replay_on(Firmware(OUTCOME, "4567"), finding(tmp_path)).unrepeatable
    assert replay_on(Firmware(OUTCOME, "4567", claims="c1"), finding(tmp_path)).unrepeatable


def test_a_claim_nobody_judged_is_not_exercised(tmp_path):
    """No longer declared, say."""
    replayed = replay_on(Firmware(Outcome("gates.pattern", "held", 1.0)), finding(tmp_path))

    assert replayed.outcome.status == "not exercised"


def test_the_findings_own_firmware_is_loaded_unless_another_is_given(tmp_path):
    """--firmware brings its own drive with it."""
    asked = []

    def load(directory, drive_file):
        asked.append((directory, drive_file))
        return Firmware(HELD)

    found = finding(tmp_path)
    replay(found, load=load)
    replay(found, tmp_path / "new", load=load)

    assert asked == [(found.firmware, found.drive), (tmp_path / "new", None)]
