"""How seldom uniform scenarios show a firmware: what counts, what is told, what the index says of it."""

import json
from types import SimpleNamespace

import pytest

from dryspin.known_bad import read_index

from . import odds as long
from .known_bad import FOLDER
from .odds import EACH, ENOUGH, SEEDS, Odds, table

RESULTS = long.ROOT / "tests" / "long" / "results"
(VARIANT,) = [v for v in read_index(FOLDER) if v.name == "gives_up_in_silence"]


@pytest.fixture
def pilot(monkeypatch):
    """The pilot of one firmware; scenarios are numbers, the claim objects to those in `wrong`, or `good`."""

    def run(wrong, good=()):
        numbers = {seed: range(k * EACH, (k + 1) * EACH) for k, seed in enumerate(SEEDS)}
        subjects = {VARIANT.directory: SimpleNamespace(claims=wrong), long.GOOD: SimpleNamespace(claims=good)}
        monkeypatch.setattr(long, "load_subject", subjects.get)
        monkeypatch.setattr(long, "families_to_search", lambda claims: [])
        monkeypatch.setattr(long, "uniform_scenarios", lambda subject, families, limit, seed: numbers[seed])
        monkeypatch.setattr(long, "shows", lambda subject, claim, k: k in subject.claims)
        return long.odds(VARIANT)

    return run


@pytest.mark.parametrize(
    ("wrong", "hits", "scenarios", "rare"),
    [
        ((), 0, 150, True),
        ((3, 149), 2, 150, True),
        ((3, 60, 149), 3, 150, False),
        ((0, 1, 2, 9), 3, 3, False),
    ],
)
def test_rare_is_what_shows_less_than_once_in_50(pilot, wrong, hits, scenarios, rare):
    """All three seeds are gone through, and no further than the third objection."""
    row = pilot(wrong)

    assert (row.hits, row.scenarios, row.shared, row.rare) == (hits, scenarios, 0, rare)
    assert (EACH * len(SEEDS), ENOUGH) == (150, 3)


def test_what_the_good_firmware_shows_as_well_does_not_count(pilot):
    """It tells a scenario outside what the drive can do, not a defect."""
    row = pilot((3, 60, 149), good=(60,))

    assert (row.hits, row.scenarios, row.shared) == (2, 150, 1)


def test_the_seldomest_come_first_in_the_table():
    """By share, then by name."""
    rows = [
        Odds("often", "a.claim", 3, 3, 0),
        Odds("b", "a.claim", 0, 150, 0),
        Odds("a", "a.claim", 1, 150, 0),
    ]
    lines = table(rows).splitlines()

    assert lines[2:5] == ["b      0 of 150  rare", "a      1 of 150  rare", "often  3 of 3"]
    assert lines[-1] == "2 of 3 are rare"


def test_the_index_calls_rare_what_the_last_pilot_found_so():
    """With the odds measured: who marks by hand chooses what the search is praised for."""
    rows = [Odds(**row) for row in json.loads(max(RESULTS.glob("*-odds.json")).read_text())]
    measured = {
        row.variant: f"{row.hits} of {row.scenarios} uniform scenarios show it" if row.rare else ""
        for row in rows
    }
    told = {variant.name: variant.rare for variant in read_index(FOLDER)}

    assert {name: told[name] for name in measured} == measured
    assert {name for name, rare in told.items() if rare} <= set(measured)
