"""The run over all drives in small: what it searches, and what it says of it."""

from types import SimpleNamespace

import pytest

from dryspin.drive import load_drive
from dryspin.soak import Soaked

from . import clean
from .clean import DRIVES, exercised, shares

HELD = Soaked(
    scenarios=3,
    simulated_s=12.0,
    resumed=0,
    claims={"gates.a": (3, 0, 0, 0.5), "gates.b": (1, 0, 2, 0.25)},
    findings=(),
    failed=(),
    set_aside=(),
    declared=("gates.a", "gates.b"),
)
BROKEN = Soaked(
    **{
        **vars(HELD),
        "claims": {"gates.a": (2, 1, 0, -0.5), "gates.b": (1, 0, 2, 0.125)},
        "findings": (("gates.a", "turn.c:7", "found/gates-a-1.toml"),),
    }
)


@pytest.fixture(autouse=True)
def _nothing_is_built(monkeypatch):
    """Neither the soak nor its firmware is looked at here."""
    hashes = {name: name for name in ("firmware", "drive", "claims")}

    def loaded(directory, drive_file):
        return SimpleNamespace(
            directory=directory, drive=load_drive(drive_file), hashes=hashes, compiler="gcc"
        )

    monkeypatch.setattr(clean, "load_subject", loaded)


def test_eight_drives_or_more_one_of_them_with_an_rc_clock():
    """Size, inertia, supply, noise and clock: what differs from one user to the next."""
    assert len(DRIVES) >= 8
    assert {"pack", "bench_supply", "rc_clock"} <= set(DRIVES)


def test_every_scenario_is_some_drives():
    """Of twenty thousand over ten drives none is lost in the division."""
    assert shares(20_000, 9) == [2223, 2223, *[2222] * 7]


def test_a_family_is_exercised_as_often_as_its_least_exercised_claim():
    """A family with a claim that nothing showed has shown nothing."""
    assert exercised(HELD) == {"gates": 1}


@pytest.mark.parametrize(("result", "code"), [(HELD, 0), (BROKEN, 1)])
def test_the_result_is_dated_and_names_seed_margin_and_drive(tmp_path, monkeypatch, result, code):
    """Kept in the repository: it must say by itself what was searched, how, and what came of it."""
    asked = []

    def soaked(subject, **options):
        asked.append((subject.drive.path, options["scenarios"], options["seed"]))
        return result

    monkeypatch.setattr(clean, "soak", soaked)
    assert clean.main(["--scenarios", "33", "--seed", "7", "--results", str(tmp_path)]) == code

    (path,) = tmp_path.glob("20??-??-??-clean.txt")
    text = path.read_text()
    assert [seed for *_, seed in asked] == [700 + k for k in range(len(DRIVES))]
    assert sum(scenarios for _, scenarios, _ in asked) == 33
    assert [drive for drive, *_ in asked] == list(DRIVES.values())
    for name in DRIVES:
        assert f"== {name}: " in text
    assert f"{len(DRIVES)} drives" in text
    worst = min((result.claims["gates.b"][3], name) for name in DRIVES)
    assert f"  gates.b                        {worst[0]:+.3f} on {worst[1]}" in text
    assert ("broken  gates.a at turn.c:7" in text) == (code == 1)


def test_one_drive_keeps_its_number(tmp_path, monkeypatch):
    """Asked for alone it is searched as among the others, so its journal counts."""
    asked = []

    def soaked(subject, **options):
        asked.append((options["folder"].name, options["folder"].parents[1], options["seed"]))
        return HELD

    monkeypatch.setattr(clean, "soak", soaked)
    clean.main(["--drive", "rc_clock", "--results", str(tmp_path), "--journals", str(tmp_path / "j")])

    assert asked == [("rc_clock", tmp_path / "j", list(DRIVES).index("rc_clock"))]
