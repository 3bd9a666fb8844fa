"""What a check says of the time of handlers."""

import pytest

from dryspin.drive import load_drive
from dryspin.findings import load_subject
from dryspin.recording import Recording, Signal
from dryspin.report.handlers import handler_json, handler_lines
from dryspin.rig.rig import OffSpan
from dryspin.search.handlers import HandlerTimes, HandlerUse, HandlerWatch
from dryspin.timing.handlers import calls_of, times_of
from dryspin.timing.steps import top_window

from ..recording.samples import F_CPU_HZ, recording, turning
from ..small_firmware import scenario as small_scenario
from .subject import BOW_THRUSTER

NEVER_OFF = OffSpan(0, "", 0)
H = Signal.HANDLER


def times_in(*runs: Recording) -> HandlerTimes:
    """Of some runs in which interrupts were never off."""
    times = HandlerTimes()
    for run in runs:
        times.add(run, NEVER_OFF)
    return times


PLAIN = [(1_000, H, 12), (1_300, H, 0), (2_000, H, 24), (2_050, H, 0), (3_000, H, 12), (3_100, H, 0)]
CUT_OFF = [(1_000, H, 12), (1_100, Signal.RESET, 2), (2_000, H, 24), (2_050, H, 0), (9_000, H, 11)]
NESTED = [(1_000, H, 12), (1_100, H, 11), (1_120, H, 0), (1_400, H, 0), (2_000, H, 24), (2_050, H, 0)]


@pytest.mark.parametrize("rows", [PLAIN, CUT_OFF, NESTED, []], ids=["plain", "cut off", "nested", "none"])
def test_the_look_at_whole_recordings_agrees_with_the_look_at_each_call(rows) -> None:
    """Two ways to one answer: arrays, and a walk over the edges."""
    run = recording(rows)
    calls = calls_of(run)
    expected = times_of(calls, top_window(run), F_CPU_HZ)
    times = times_in(run)

    assert {v: (use.calls, use.longest, use.mean) for v, use in times.handlers.items()} == {
        each.vector: (each.calls, each.longest, each.mean) for each in expected
    }
    assert times.shares == {each.vector: each.at_top for each in expected if each.at_top}


def test_longest_and_mean_are_over_all_scenarios_but_the_share_is_of_the_fastest() -> None:
    """A share over scenarios that mostly stand still would say nothing of the time that runs short."""
    slow = recording([(1_000, H, 12), (1_400, H, 0)], turning(1_000.0, 0.01))
    fast = recording([(1_000, H, 12), (1_200, H, 0), (2_000, H, 24), (2_600, H, 0)], turning(-3_000.0, 0.01))
    times = times_in(slow, fast, slow)

    assert times.handlers == {12: HandlerUse(12, 3, 1_000, 400), 24: HandlerUse(24, 1, 600, 600)}
    assert times.top_rpm == pytest.approx(3_000.0)
    assert times.shares == {12: 200 / 160_000, 24: 600 / 160_000}


def test_two_sets_together_are_the_same_as_one_by_one() -> None:
    """Workers split the scenarios; their number must not show."""
    runs = [
        recording(rows, turning(rpm, 0.01)) for rows, rpm in ((PLAIN, 900.0), (NESTED, 2e3), (CUT_OFF, 50.0))
    ]
    one, other = times_in(*runs[:1]), times_in(*runs[1:])
    one.merge(other)

    assert one == times_in(*runs)


def test_the_longest_stretch_with_interrupts_off_stays() -> None:
    """A later run with a shorter one does not hide it."""
    times = HandlerTimes()
    for cycles in (40, 339, 90):
        times.add(recording(PLAIN), OffSpan(cycles, "main.c:7", 0))

    assert times.off == OffSpan(339, "main.c:7", 0)


def test_the_table_reads_like_this() -> None:
    """What the times hold stands above them: calls of the port only, unless the drive charges code."""
    drive = load_drive(BOW_THRUSTER / "drive.toml")
    times = HandlerTimes(
        {12: HandlerUse(12, 2_500, 125_000, 339)},
        OffSpan(339, "", 12),
        1_000.0,
        {12: 0.021},
        {12: "on_compare_a"},
    )

    assert handler_lines(times, drive) == [
        "time of handlers: calls of the port only, plain code takes no time: "
        'code_cycles = "object code" charges it',
        "handler                  calls                 longest                  mean    of 9 549 rpm",
        "on_compare_a             2 500      339 cycles 21.2 us      50 cycles 3.1 us            2.1%",
        "all handlers                                                                            2.1%",
        "interrupts off for 339 cycles 21.2 us at most: from the begin of on_compare_a",
    ]
    assert handler_lines(HandlerTimes(), drive) == []


def test_the_numbers_are_in_the_json_too() -> None:
    """For a budget kept in CI."""
    times = HandlerTimes(
        {12: HandlerUse(12, 4, 200, 80)}, OffSpan(90, "main.c:7", 0), 1.0, {12: 0.25}, {12: "on_compare_a"}
    )
    data = handler_json(times)

    assert data["handlers"] == [
        {
            "handler": "on_compare_a",
            "vector": 12,
            "calls": 4,
            "longest_cycles": 80,
            "mean_cycles": 50.0,
            "share_at_top_speed": 0.25,
        }
    ]
    assert data["interrupts_off"] == {"longest_cycles": 90, "line": "main.c:7", "handler": None}


def test_a_watched_subject_judges_as_it_does_unwatched() -> None:
    """Two tenths of a second of the shipped firmware: frames captured, ticks wrapped."""
    subject = load_subject(BOW_THRUSTER)
    watch = HandlerWatch(subject)
    story = small_scenario(0.2, throttle_us=((0.0, 1500.0),))
    trial = watch.search_trial(story, None)
    noted = watch.times
    watch.forget()

    assert trial == subject.search_trial(story)
    assert noted.handlers[11].calls >= 5
    assert noted.off.cycles >= max(use.longest for use in noted.handlers.values())
    assert watch.times == HandlerTimes()
