"""Two recordings, or a recording and a capture, on each other: nothing differs, or what was planted does."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from dryspin.capture import Reading, read
from dryspin.capture.comparison import Comparison, Event, compare
from dryspin.capture.from_recording import capture_of
from dryspin.cli.command import exit_code
from dryspin.errors import CaptureError
from dryspin.recording import Recording, Signal, save_recording

from .conftest import SCOPE_FROM_S
from .test_round_trip import shorted


@pytest.fixture(scope="session")
def own(voyage: Recording) -> Reading:
    """The voyage as a capture of its pins."""
    return read(capture_of(voyage, Path("a.npz")), voyage.drive)


def by_name(comparison: Comparison) -> dict:
    """Differences by name."""
    return {difference.name: difference for difference in comparison.differences}


def test_a_recording_does_not_differ_from_itself(own: Reading) -> None:
    """Every statistic is exactly zero."""
    comparison = compare(own, own, Event.RUN)

    assert comparison.order.endswith("steps from the event on in the same order")
    assert {d.name for d in comparison.differences} >= {"step interval", "throttle pulse"}
    assert all(d.mean == 0.0 and not d.worst for d in comparison.differences)


def test_a_slower_clock_shows_in_every_interval(own: Reading, voyage: Recording) -> None:
    """A recording played 1 % slower: intervals and pulses are 1 % longer, no more and no less."""
    slow = replace(voyage, f_cpu_hz=voyage.f_cpu_hz / 1.01)
    found = by_name(compare(own, read(capture_of(slow, Path("b.npz")), slow.drive), Event.RUN))
    interval, pulse = found["step interval"], found["throttle pulse"]

    assert interval.b.median == pytest.approx(1.01 * interval.a.median, rel=1e-4)
    mine = own.steps.start_ns[own.run == own.run[-1]]
    assert interval.mean == pytest.approx(0.01 * np.diff(mine).mean() / 1e3, rel=0.02)
    assert pulse.mean == pytest.approx(18.0, abs=0.01)
    assert pulse.deviation == pytest.approx(0.0, abs=0.01)


def test_a_step_that_comes_late_is_the_largest_difference(own: Reading, voyage: Recording) -> None:
    """Gates of U from 1.6 s on 20 us later: the intervals around tell when."""
    edges = voyage.edges.copy()
    late = (edges["cycle"] > 1.6 * 16e6) & (edges["cycle"] < 1.64 * 16e6)
    late &= edges["signal"] == int(Signal.GATE_U)
    edges["cycle"][late] += 320
    moved = replace(voyage, edges=edges[np.argsort(edges["cycle"], kind="stable")])
    interval = by_name(compare(own, read(capture_of(moved, Path("b.npz")), moved.drive), Event.RUN))[
        "step interval"
    ]
    began_s = float(own.steps.start_ns[0]) * 1e-9

    assert abs(interval.worst) > 15.0
    assert interval.worst_s + began_s >= 1.0
    assert interval.deviation > 1.0


def test_a_short_dead_time_shows_in_the_distribution(own: Reading, voyage: Recording) -> None:
    """250 ns in one of a thousand changes: the least differs, the median does not."""
    bad = shorted(voyage, 4)
    found = by_name(compare(own, read(capture_of(bad, Path("b.npz")), bad.drive), Event.RUN))
    change = found["from FET to FET, leg U"]

    assert change.b.least == pytest.approx(250.0, abs=1.0)
    assert change.a.least > 500.0
    assert abs(change.mean) < 0.01 * change.a.median


def test_an_oscilloscope_is_laid_on_its_recording_by_two_moments(own: Reading, scope: Reading) -> None:
    """Steps read from two terminals beside those of the gates: the same order, moments within an off-time."""
    trigger_s = scope.capture.origin_s
    comparison = compare(own, scope, Event.RUN, a_s=1.5, b_s=1.5 - SCOPE_FROM_S + trigger_s)
    found = by_name(comparison)

    assert "in the same order" in comparison.order
    assert found["step interval"].a.count > 300
    assert abs(found["step interval"].mean) < 0.2
    # The step laid on and the step compared may each be as late as they admit.
    doubt_us = 2.0 * scope.steps.doubt_ns[100:].max() / 1e3
    assert abs(found["moment of each step"].worst) < doubt_us < 100.0


def test_what_is_not_there_cannot_be_laid_on(own: Reading, scope: Reading) -> None:
    """Each with the next thing to do."""
    with pytest.raises(CaptureError, match="has no first reversal; choose another event or give moments"):
        compare(own, own, Event.REVERSAL)
    with pytest.raises(CaptureError, match="has no throttle pulse"):
        compare(own, scope, Event.THROTTLE)
    with pytest.raises(CaptureError, match=r"goes from 0 s to 1\.7 s; 9 s is not in it"):
        compare(own, own, Event.RUN, 9.0, 9.0)


def test_the_command_lays_a_recording_on_a_capture(
    voyage: Recording, export_files: tuple[Path, Path], tmp_path: Path, capsys
) -> None:
    """Text and JSON; two files of one run do not differ by more than the nanosecond of the dump."""
    save_recording(voyage, tmp_path / "run.npz")
    arguments = ["overlay", str(tmp_path / "run.npz"), str(export_files[0]), "--map", str(export_files[1])]

    assert exit_code(arguments) == 0
    text = capsys.readouterr().out
    assert "B - A  mean" in text
    assert exit_code([*arguments, "--json"]) == 0
    differences = {d["name"]: d for d in json.loads(capsys.readouterr().out)["differences"]}
    assert abs(differences["step interval"]["worst"]) <= 2e-3


@pytest.mark.parametrize(
    ("more", "message"),
    [
        ([], "is a capture; say with --map FILE which channel is which signal"),
        (["--a-s", "1"], "--a-s and --b-s go together"),
    ],
)
def test_the_command_asks_for_what_it_lacks(
    voyage: Recording, export_files: tuple[Path, Path], tmp_path: Path, capsys, more, message
) -> None:
    """Exit code 2 and a sentence."""
    save_recording(voyage, tmp_path / "run.npz")

    assert exit_code(["overlay", str(tmp_path / "run.npz"), str(export_files[0]), *more]) == 2
    assert message in capsys.readouterr().err


def test_two_captures_need_a_drive(export_files: tuple[Path, Path], capsys) -> None:
    """Nothing else says how fast they chop."""
    file = str(export_files[0])

    assert exit_code(["overlay", file, file, "--map", str(export_files[1])]) == 2
    assert "two captures have no drive of their own; give it with --drive FILE" in capsys.readouterr().err
