"""Directed against uniform in small: the arithmetic, what uniform means, and what is done stays done."""

import json
import math
from random import Random

import pytest

from dryspin.drive import load_drive
from dryspin.scenario import fits
from dryspin.search.course import armed_s
from dryspin.search.flavours import FLAVOURS
from dryspin.search.rehearsal import Rehearsal

from . import directed as long
from .comparison import DIRECTED, UNIFORM, Run, gain, middle, rows_of, table
from .directed import Extent
from .uniform import uniform_scenario

DRIVE = load_drive(long.ROOT / "firmware_under_test" / "bow_thruster" / "drive.toml")
NAME = "gives_up_in_silence"


@pytest.mark.parametrize(
    ("found", "expected"),
    [
        ([3, 1, 2], 2.0),
        ([4, 1, 2, 3], 2.5),
        ([None, 1, 2], 2.0),
        ([None, None, 2], math.inf),
        ([None, 5], math.inf),
    ],
)
def test_a_search_that_did_not_find_it_counts_as_one_that_would_take_longer_than_any(found, expected):
    """Leaving those out would flatter whoever gives up most often."""
    assert middle(found) == expected


@pytest.mark.parametrize(
    ("directed", "uniform", "expected"),
    [
        (4.0, 20.0, (5.0, False)),
        (20.0, 4.0, (0.2, False)),
        (10.0, math.inf, (10.1, True)),
        (math.inf, 20.2, (0.2, False)),
    ],
)
def test_the_gain_is_uniform_over_directed_and_at_least_that_where_uniform_gave_up(
    directed, uniform, expected
):
    """At a limit of 100, giving up is taken as finding it with the next scenario."""
    ratio, at_least = gain(directed, uniform, 100, 100)

    assert (pytest.approx(ratio), at_least) == expected


def test_where_neither_finds_it_nothing_is_gained_or_lost():
    """It is counted apart."""
    assert math.isnan(gain(math.inf, math.inf, 100, 100)[0])


@pytest.mark.parametrize(
    ("beyond", "found", "expected"),
    [(None, [4, 6], 100), (3.0, [4, 7, 5], 15), (3.0, [4, 7], 17), (3.0, [40, 40], 100), (3.0, [None], 100)],
)
def test_uniform_searches_end_where_it_is_clear_that_they_need_so_many_times_more(beyond, found, expected):
    """Never beyond what the directed ones are granted, and there where the directed ones find nothing."""
    assert Extent(len(found), 100, beyond).of_uniform(found) == expected


def test_a_uniform_search_that_ended_early_counts_as_one_that_ends_there():
    """Told as more than 3 times, and not as more than the limit."""
    assert gain(5.0, math.inf, 100, 15) == (pytest.approx(3.2), True)


def runs(name, directed, uniform):
    """Runs of one firmware over seeds 0, 1, ..."""
    return [
        Run(name, "a.claim", way, seed, 59, found)
        for way, all_found in ((DIRECTED, directed), (UNIFORM, uniform))
        for seed, found in enumerate(all_found)
    ]


def test_the_table_tells_medians_shares_and_gains_and_sums_them_up():
    """Fewer, as many, more, and neither, one of each."""
    given = [
        *runs("better", [2, 4, 3], [None, 30, None]),
        *runs("alike", [5, 5, 5], [5, None, 1]),
        *runs("worse", [8, None, 9], [3, 3, 2]),
        *runs("hidden", [None] * 3, [None] * 3),
    ]
    text = table(rows_of(given, 59), 59)

    assert "better    a.claim  3         3/3    > 59     1/3    >= 20" in text
    assert "alike     a.claim  5         3/3    5        2/3    1\n" in text
    assert "worse     a.claim  9         2/3    3        3/3    0.33" in text
    assert "hidden    a.claim  > 59      0/3    > 59     0/3\n" in text
    assert "directed takes fewer in 1 of 4, as many in 1, more in 1, neither finds 1" in text
    assert "median gain >= 1 times" in text
    assert "directed takes a third or less in 1 of 4" in text


@pytest.mark.parametrize("family", FLAVOURS)
def test_uniform_scenarios_are_inside_the_drives_envelope(family):
    """What is found outside it is no finding."""
    for k in range(40):
        scenario = uniform_scenario(DRIVE, family, Random(k))
        fits(scenario, DRIVE)
        assert scenario.supply_v[0][1] in DRIVE.supply.v_v
        assert scenario.load_factor[0][1] in DRIVE.load.kq_nm_s2.factors


def test_moments_and_positions_are_uniform():
    """Every tenth of time and of all pulse widths gets its share, within 3.5 sigma; half arm first."""
    shares, positions, armed = [], [], 0
    for k in range(400):
        scenario = uniform_scenario(DRIVE, "reversal", Random(k))
        begin_s = 0.0
        if scenario.throttle_us[0][1] == DRIVE.throttle.neutral_us:
            begin_s = armed_s(DRIVE, Rehearsal(), scenario.frame_ms)
            armed += 1
        for t_s, us in scenario.throttle_us[1:]:
            shares.append((t_s - begin_s) / (scenario.end_s - begin_s))
            positions += [(us - 700.0) / 1600.0] if us else []
    assert abs(armed - 200) < 3.5 * 10.0
    for values in (shares, positions):
        counts = [sum(k / 10 <= v < (k + 1) / 10 for v in values) for k in range(10)]
        expected = len(values) / 10
        assert all(abs(count - expected) < 3.5 * math.sqrt(expected) for count in counts)
    assert len(shares) > 400


@pytest.fixture
def run(tmp_path, monkeypatch):
    """The command on one firmware with searches that answer by their seed; output and what was searched."""
    asked = tmp_path / "asked"

    def answer(way):
        def search(subject, claim, families, limit, seed, rehearsal):
            with asked.open("a") as file:
                file.write(f"{way} {seed}\n")
            return 2 + seed if way == DIRECTED else None

        return search

    monkeypatch.setattr(long, "WAYS", {way: answer(way) for way in (DIRECTED, UNIFORM)})
    monkeypatch.setattr(long, "rehearse", lambda subject, families, workers: Rehearsal())

    def command():
        asked.write_text("")
        given = ["--variants", NAME, "--seeds", "3", "--limit", "30", "--results", str(tmp_path)]
        assert long.main(given) == 0
        (path,) = tmp_path.glob("20??-??-??-directed.txt")
        return path, asked.read_text().split("\n")[:-1]

    return command


def test_an_interrupted_run_goes_on_behind_what_is_done(run, tmp_path):
    """Table, runs and plot are there; the last line of the journal, cut off, is searched again alone."""
    path, asked = run()
    text, runs = path.read_text(), json.loads(path.with_suffix(".json").read_text())
    journal = tmp_path / "directed.partial.jsonl"
    journal.write_text(journal.read_text()[:-20])
    _, again = run()

    assert sorted(asked) == [f"{way} {seed}" for way in (DIRECTED, UNIFORM) for seed in range(3)]
    assert len(again) == 1
    assert path.read_text() == text
    assert "startup.off_and_said  3         3/3    > 30     0/3    >= 10" in text
    assert len(runs) == 6
    assert path.with_suffix(".svg").read_text().count(NAME) > 0
