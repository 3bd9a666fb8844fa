"""Where a limit lies in time, and what of the run a sheet opens on."""

import re
from pathlib import Path

import pytest

from dryspin.findings import Outcome, read_finding
from dryspin.monitors.registry import known_claims
from dryspin.report.sheet.clock import ANGLES, BEGINS, DEADLINES, ENDS, clock_of, led_from_s
from dryspin.report.sheet.opening import opening
from dryspin.report.sheet.tables import bars, seen_text, verdict_row

from .sheet_samples import spiked

KNOWN_BAD = Path(__file__).parents[2] / "firmware_under_test" / "known_bad"

START_SAID = re.compile(
    r"(?:asked at|lost at|last valid pulse at|went to neutral at|endless loop from|^from) (\d+\.\d+) s"
)
"""How monitors tell in their sentences when the clock started."""


def test_claims_with_a_clock_exist_and_have_one_kind_of_it() -> None:
    """A claim renamed would silently lose its limit on the time line."""
    kinds = (DEADLINES, ENDS, BEGINS, ANGLES)

    assert frozenset().union(*kinds) <= set(known_claims())
    assert sum(map(len, kinds)) == len(frozenset().union(*kinds))


def test_a_clock_starts_where_the_monitors_sentence_says() -> None:
    """Of every kept finding whose sentence names the moment, to its last digit."""
    one, compared = spiked(0.1), set()
    for path in sorted(KNOWN_BAD.glob("*/found/*.toml")):
        outcome = read_finding(path).outcome
        said = START_SAID.search(outcome.text)
        if outcome.claim not in DEADLINES | ENDS or said is None:
            continue
        clock = clock_of(outcome, one)
        assert clock.start_s == pytest.approx(float(said[1]), abs=0.6e-3), path
        assert clock.from_s == clock.start_s
        assert clock.limit_s == pytest.approx(outcome.limit)
        compared.add(outcome.claim)

    assert compared >= {"startup.in_time", "reversal.in_time", "synchronism.recovers", "arming.loss"}


def test_what_lasts_too_long_is_measured_from_the_moment_on() -> None:
    """The moment of these claims is where it begins."""
    outcome = Outcome("commutation.sensed_edge", "broken", -14.0, 0.05, limit=10.0, seen=148.0, unit="us")
    clock = clock_of(outcome, spiked(0.1))

    assert (clock.from_s, clock.to_s) == (0.05, pytest.approx(0.05 + 10e-6))
    assert led_from_s(outcome, clock) is None


def test_a_held_deadline_counts_back_what_it_took() -> None:
    """Its moment is where it was met, not where its time was over."""
    outcome = Outcome("startup.in_time", "held", 0.5, 0.05, limit=0.02, seen=0.01, unit="s")

    assert clock_of(outcome, spiked(0.1)).start_s == pytest.approx(0.04)


@pytest.mark.parametrize(
    ("moment_s", "seen_s", "status", "said"),
    [
        (0.05, 0.07, "broken", "not within 0.07 s, when the run ended"),
        (0.05, 0.06, "broken", "0.06 s"),  # met 10 ms before the end
        (0.10, 0.02, "held", "0.02 s"),  # met with its last cycle
    ],
)
def test_the_end_of_the_run_is_no_measurement(moment_s: float, seen_s: float, status: str, said: str) -> None:
    """Granted 20 ms; 50 ms later the run is over, and how long it takes nobody has seen."""
    outcome = Outcome("startup.in_time", status, -1.0, moment_s, limit=0.02, seen=seen_s, unit="s")
    drawn = bars(outcome, 0.1, "")

    assert seen_text(outcome, 0.1) == drawn["bars"][1]["text"] == verdict_row(outcome, 0.1)["seen"] == said
    assert drawn["bars"][1]["open"] == (", or worse" in drawn["caption"]) == said.startswith("not")
    assert not drawn["bars"][0]["open"]


def test_an_angle_has_its_limit_beside_the_right_angle() -> None:
    """Step 4 of the sample begins at 212 008 of 16 MHz, the rotor at 10 + 42 000 t = 206.5 degrees.

    It belongs to 270 degrees (six-step geometry), 1.51 ms later; 21 degrees, 0.5 ms, end there.
    """
    moment_s = 212_008 / 16e6
    ahead_s = (270.0 - (10.0 + 42_000.0 * moment_s) % 360.0) / 42_000.0
    outcome = Outcome("commutation.angle", "broken", -2.0, moment_s, limit=21.0, seen=63.5, unit="deg")
    clock = clock_of(outcome, spiked(0.1))

    assert ahead_s == pytest.approx(1.51e-3, rel=1e-2)
    assert clock.start_s == clock.to_s == pytest.approx(moment_s + ahead_s, rel=1e-4)
    assert clock.limit_s == pytest.approx(0.5e-3, rel=1e-3)


def test_a_crossing_taken_late_has_its_limit_behind_the_true_one() -> None:
    """V rises through zero at 120 degrees; taken at 220 000 of 16 MHz, at 587.5 - 360 = 227.5 degrees."""
    moment_s = 220_000 / 16e6
    late_s = ((10.0 + 42_000.0 * moment_s) % 360.0 - 120.0) / 42_000.0
    outcome = Outcome("commutation.false_crossings", "broken", -6.0, moment_s, 15.0, 107.5, "deg")
    clock = clock_of(outcome, spiked(0.1))

    assert clock.start_s == clock.from_s == pytest.approx(moment_s - late_s, abs=2e-6)
    assert clock.limit_s == pytest.approx(15.0 / 42_000.0, rel=1e-3)


@pytest.mark.parametrize(
    ("claim", "unit"),
    [("startup.swing_back", "deg"), ("electrical.phase_current", "A"), ("calibration.sane_range", "us")],
)
def test_what_is_no_stretch_of_time_has_no_clock(claim: str, unit: str) -> None:
    """A swing's degrees are no time, and neither are amperes, nor the microseconds of a stick's travel."""
    assert clock_of(Outcome(claim, "broken", -1.0, 0.05, 10.0, 20.0, unit), spiked(0.1)) is None


# ---- what is shown first ---------------------------------------------------------------------------


def opens(outcome: Outcome, end_s: float = 4.0) -> tuple[float, float]:
    """From and to of what a sheet on the sample opens on."""
    one = spiked(end_s)
    return opening(outcome, clock_of(outcome, one), one)


def test_a_deadline_opens_from_its_clocks_start_to_its_moment() -> None:
    """0.7 s before 2 s, with 0.105 s of room on both sides."""
    outcome = Outcome("startup.in_time", "broken", -0.1, 2.0, limit=0.7, seen=0.77, unit="s")

    assert opens(outcome) == (pytest.approx(1.195), pytest.approx(2.105))


@pytest.mark.parametrize(("end_s", "to_s"), [(2.45, 2.45), (2.46, 2.105)])
def test_the_end_of_the_run_is_shown_where_it_is_near(end_s: float, to_s: float) -> None:
    """The stretch above is 0.91 s wide: up to 0.455 s behind the moment the run's end is in it."""
    outcome = Outcome("startup.in_time", "broken", -0.1, 2.0, limit=0.7, seen=0.77, unit="s")

    assert opens(outcome, end_s) == (pytest.approx(1.195), pytest.approx(to_s))


def test_a_reversal_opens_from_the_sticks_change() -> None:
    """At 2 s in the sample: the next pulse rises at 2.01 s and is over 1.9 ms later."""
    from_s, to_s = opens(Outcome("reversal.opposing_drive", "broken", -1.0, 2.1, 400.0, 800.0, "rpm"))

    assert from_s < 2.0119 < 2.1 < to_s
    assert to_s - from_s == pytest.approx(1.3 * (2.1 - 2.0119))


def test_what_goes_wrong_in_a_step_opens_on_some_electrical_turns() -> None:
    """1000 rpm and 7 pole pairs: two turns are 17.1 ms, the moment at three tenths."""
    from_s, to_s = opens(Outcome("commutation.missed_crossings", "broken", -1.0, 2.1))

    assert to_s - from_s == pytest.approx(2.0 * 60.0 / 7000.0, rel=1e-4)
    assert 2.1 - from_s == pytest.approx(0.3 * (to_s - from_s))


def test_a_moment_of_gates_opens_on_a_few_periods_and_none_on_the_whole_run() -> None:
    """A tenth of a millisecond; nothing lies outside of the run."""
    from_s, to_s = opens(Outcome("gates.dead_time", "broken", -0.5, 2.1, 500.0, 250.0, "ns"))

    assert to_s - from_s == pytest.approx(100e-6, rel=0.01)
    assert from_s < 2.1 < to_s
    assert opens(Outcome("gates.both_fets", "held", 1.0)) == (0.0, 4.0)
    assert opens(Outcome("startup.in_time", "broken", -1.0, 0.1, 0.1, 0.2, "s"), 0.1) == (0.0, 0.1)
