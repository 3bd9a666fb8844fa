"""The sweep of `.ci/long` in small: twenty instants of each, and what it says of them."""

import pytest

from dryspin.findings import BROKEN, HELD, Outcome, Subject, Trial
from dryspin.recording import Signal
from dryspin.scenario import Scenario

from . import sweep as long
from .sweep import Sweep, counted, evenly, judged, run_sweep, store_sweep, summary, thruster

INSTANTS = 20


@pytest.fixture(scope="module")
def subject() -> Subject:
    """The shipped bow thruster, before all monitors."""
    return thruster()


def broken(counts):
    """Claim -> instants at which it broke."""
    return {claim: count.broken for claim, count in counts.items() if count.broken}


@pytest.mark.slow
def test_a_power_cut_at_any_instant_of_storing_leaves_old_or_new(subject):
    """Nobody may lose a thruster because a plug was pulled at the wrong moment."""
    sweep = store_sweep(subject, INSTANTS)
    counts = counted(sweep, judged(subject, sweep, 2))

    assert broken(counts) == {}
    # All but those before the first byte and after the last.
    assert counts["calibration.old_or_new"].statuses[HELD] >= 0.8 * INSTANTS
    assert counts["arming.after_reset"].statuses[HELD] == INSTANTS


@pytest.mark.slow
def test_a_reset_at_any_instant_of_a_run_drives_nothing_before_the_next_rite(subject):
    """Arming, tone, alignment, ramp, run, braking and run again: each is met."""
    sweep = run_sweep(subject, INSTANTS)
    counts = counted(sweep, judged(subject, sweep, 2))

    assert broken(counts) == {}
    assert counts["arming.after_reset"].statuses[HELD] == INSTANTS
    assert counts["gates.reset_opens"].statuses[HELD] >= INSTANTS // 2
    assert counts["arming.rite"].statuses[HELD] == INSTANTS


def test_cuts_lie_across_all_bytes_of_the_record(subject):
    """The first before the first byte, the last behind the last, most with a byte on its way."""
    sweep = store_sweep(subject, INSTANTS)
    (_, first), *_, (_, last) = sweep.scenarios
    busy = 0
    for at_s, scenario in (sweep.scenarios[0], sweep.scenarios[INSTANTS // 2], sweep.scenarios[-1]):
        recording = subject.record(scenario)
        busy += int(recording.value_at(Signal.STORE_BUSY, recording.cycle_of(at_s) - 1))

    assert first.faults[-1].at_s < last.faults[-1].at_s
    assert busy == 1
    assert first.seed != last.seed


@pytest.mark.slow
def test_number_of_workers_does_not_show_in_the_result(subject):
    """As in a check."""
    sweep = run_sweep(subject, 6)

    assert judged(subject, sweep, 1) == judged(subject, sweep, 2)


def test_instants_are_even_and_inside():
    """Each in the middle of its part."""
    assert list(evenly(1.0, 2.0, 4)) == [1.125, 1.375, 1.625, 1.875]


def some_sweep(count):
    """Scenarios that are never run."""
    scenario = Scenario(seed=0, end_s=1.0, rest_deg=0.0, frame_ms=20.0, throttle_us=((0.0, 0.0),))
    return Sweep("some", "nothing", tuple((float(k), scenario) for k in range(count)))


def test_summary_names_least_margin_and_what_broke():
    """A result that is read in a year must say by itself what happened."""
    trials = [Trial((Outcome("gates.claim", HELD, margin),), 1.0) for margin in (0.5, 0.25, 0.75)]
    trials += [Trial((Outcome("gates.claim", BROKEN, -1.0, text=f"it broke {k}"),), 1.0) for k in range(25)]
    text = summary(some_sweep(28), counted(some_sweep(28), trials))

    assert text[0] == "some: 28 instants, nothing"
    assert [line.split() for line in text if line.startswith("  gates.claim")] == [
        ["gates.claim", "3", "25", "0", "0", "-1.000", "at", "3.000000", "s"]
    ]
    assert "  broken  gates.claim at 3.00000000 s: it broke 0" in text
    assert "  broken  gates.claim at 5 more instants" in text


def test_result_file_is_dated_and_the_exit_code_tells(tmp_path, monkeypatch, capsys):
    """Kept in the repository, one a day; a script must see a break without reading it."""

    def one(subject, count):
        return some_sweep(count)

    monkeypatch.setattr(long, "store_sweep", one)
    monkeypatch.setattr(long, "run_sweep", one)
    for status, code in ((HELD, 0), (BROKEN, 1)):
        trial = Trial((Outcome("gates.claim", status, 1.0, text="so it was"),), 1.0)
        monkeypatch.setattr(
            long, "judged", lambda subject, sweep, *_, trial=trial: [trial] * len(sweep.scenarios)
        )
        assert long.main(["--instants", "3", "--results", str(tmp_path)]) == code
        (path,) = tmp_path.glob("20??-??-??-sweep.txt")
        said = path.read_text()

        assert said in capsys.readouterr().out
        assert said.count("3 instants") == 2
        assert ("so it was" in said) == (status == BROKEN)
