"""Recordings survive the disk, and nothing else passes for one."""

import io
import json
import zipfile

import numpy as np
import pytest

from dryspin.errors import RecordingError
from dryspin.recording import Signal, load_recording, save_recording

from .samples import recording

ROWS = [(0, Signal.DUTY, 0), (100, Signal.DUTY, 50), (300, Signal.LEG_U, 3)]


@pytest.mark.parametrize("compress", [False, True])
def test_a_recording_comes_back_as_it_was(tmp_path, compress):
    """A saved run meets the same monitors as a fresh one."""
    run = recording(ROWS, lines=lambda pc: f"run.c:{pc}" if pc == 0x101 else "")
    save_recording(run, tmp_path / "run.npz", compress=compress)
    again = load_recording(tmp_path / "run.npz")

    assert np.array_equal(again.edges, run.edges)
    assert np.array_equal(again.states, run.states)
    assert (again.f_cpu_hz, again.end_cycle) == (run.f_cpu_hz, run.end_cycle)
    assert again.drive == run.drive
    assert again.scenario == run.scenario
    assert again.digest() == run.digest()
    assert [again.line_of(row) for row in range(3)] == ["", "run.c:257", ""]
    assert [entry.name for entry in tmp_path.iterdir()] == ["run.npz"]


def test_a_failed_write_leaves_the_old_file(tmp_path):
    """The bench is not repeated because a disk was full: the earlier recording stays whole."""
    path = tmp_path / "run.npz"
    save_recording(recording(ROWS), path)
    before = path.read_bytes()

    def lines(_pc):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        save_recording(recording(ROWS, lines=lines), path)

    assert path.read_bytes() == before
    assert [entry.name for entry in tmp_path.iterdir()] == ["run.npz"]


def test_a_place_that_cannot_be_written_is_named(tmp_path):
    """The message is all a user sees."""
    with pytest.raises(RecordingError, match=r"nowhere/run.npz: cannot be written .* choose another place"):
        save_recording(recording(ROWS), tmp_path / "nowhere/run.npz")


def _with_header(path, change):
    with np.load(path) as archive:
        parts = dict(archive)
    header = json.loads(parts["header"].tobytes())
    change(header)
    parts["header"] = np.frombuffer(json.dumps(header).encode(), np.uint8)
    with path.open("wb") as file:
        np.savez(file, **parts)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda h: h.update(dryspin_recording=2), "is of version 2 of the format, this dryspin reads 1"),
        (lambda h: h.pop("f_cpu_hz"), "its header is damaged"),
        (lambda h: h.update(lines=3), "its header is damaged"),
        (lambda h: h.update(end_cycle=160_001), "its arrays have the digest"),
        (lambda h: h["drive"].pop("motor"), "drive lacks or does not know: motor"),
        (lambda h: h["drive"].update(name=3), "drive.name is 3, of another type"),
        (
            lambda h: h["drive"]["motor"]["r_phase_ohm"].update(low=9.0),
            "drive.motor.r_phase_ohm is impossible",
        ),
        (
            lambda h: h["scenario"].update(throttle_us=[[0.0]]),
            r"throttle_us\[0\] has 1 items, not 2",
        ),
    ],
)
def test_a_header_of_another_kind_is_refused(tmp_path, change, words):
    """A recording read wrong would be judged wrong; the message says what to do."""
    path = tmp_path / "run.npz"
    save_recording(recording(ROWS), path)
    _with_header(path, change)

    with pytest.raises(RecordingError, match=words) as caught:
        load_recording(path)
    assert str(caught.value).startswith(f"{path}: ")
    assert "record the run again" in str(caught.value)


def test_damaged_files_are_refused_wherever_they_are_cut(tmp_path):
    """A copy that broke off, a text file, an empty file: none may end in a traceback."""
    path = tmp_path / "run.npz"
    save_recording(recording(ROWS), path)
    whole = path.read_bytes()
    for content in [b"", b"dryspin_recording = 1\n", *(whole[:n] for n in range(1, len(whole), 97))]:
        path.write_bytes(content)
        with pytest.raises(RecordingError, match="not a recording, or damaged"):
            load_recording(path)


def test_flipped_bits_are_noticed(tmp_path):
    """The archive's checksum or our digest sees a changed state."""
    path = tmp_path / "run.npz"
    save_recording(recording(ROWS), path)
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 4
    path.write_bytes(content)
    with pytest.raises(RecordingError, match=r"damaged|digest"):
        load_recording(path)


def test_pickled_objects_are_never_run(tmp_path):
    """A recording may come from anywhere; numpy's object arrays would run its code."""
    path = tmp_path / "run.npz"
    content = io.BytesIO()
    np.save(content, np.array([{"a": 1}], dtype=object), allow_pickle=True)
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("header.npy", content.getvalue())
    with pytest.raises(RecordingError, match="damaged"):
        load_recording(path)


def test_a_missing_file_is_named(tmp_path):
    """The message is all a user sees."""
    with pytest.raises(RecordingError, match=r"gone.npz: no such file"):
        load_recording(tmp_path / "gone.npz")
