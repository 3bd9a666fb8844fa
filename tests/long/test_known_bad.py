"""The long table of known-bad firmwares in small: what is done stays done, and the exit code tells."""

import json

import pytest

from dryspin.known_bad import Attempt, Attempts

from . import known_bad as long

NAMES = ["gives_up_in_silence", "trusts_its_compare_to_lie_ahead"]
"""One that must be found, and one that the index lists as unseen."""


class Tries:
    """Stands in for the search: finds whom it is told to, and counts what it was asked."""

    def __init__(self, found):
        self.found, self.asked = found, []

    def __call__(self, variants, *, scenarios, seed, workers, shrink_trials):
        (variant,) = variants
        self.asked.append(variant.name)
        seen = variant.name in self.found
        row = Attempt(variant, seen, (), scenarios, 12.5, 3 if seen else None, shrink_trials)
        return Attempts((row,), scenarios, seed, 0.1)


@pytest.fixture
def run(tmp_path, monkeypatch):
    """The command on the two, with those named found; returns exit code, table, rows, and who was tried."""

    def command(*found):
        tries = Tries(found)
        monkeypatch.setattr(long, "try_all", tries)
        code = long.main(["--only", *NAMES, "--results", str(tmp_path), "--scenarios", "20"])
        (path,) = tmp_path.glob("20??-??-??-known_bad.txt")
        return code, path.read_text(), json.loads(path.with_suffix(".json").read_text()), tries.asked

    return command


def test_the_table_says_what_was_found_by_which_claim_and_in_how_many_scenarios(run):
    """A result that is read in a year must say by itself what happened."""
    code, text, rows, _ = run(NAMES[0])

    assert code == 0
    assert "gives_up_in_silence              yes    startup.off_and_said  20" in text
    assert "1 of 2 found; " in text
    assert "not found, listed as unseen: trusts_its_compare_to_lie_ahead" in text
    assert "not as the index says: none" in text
    assert [(row["name"], row["found"], row["events"]) for row in rows] == [
        ("gives_up_in_silence", True, 3),
        ("trusts_its_compare_to_lie_ahead", False, None),
    ]


@pytest.mark.parametrize("found", [(), NAMES])
def test_what_is_not_as_the_index_says_fails(run, found):
    """One missed, and one found that is listed as unseen."""
    code, text, _, _ = run(*found)

    assert code == 1
    assert f"not as the index says: {NAMES[1] if found else NAMES[0]}" in text


def test_an_interrupted_run_goes_on_behind_what_is_done(run, tmp_path):
    """Rows that depend on the same are not run again; a line that was cut off is."""
    _, first, _, asked = run(NAMES[0])
    (journal,) = tmp_path.glob("*.partial.jsonl")
    whole = journal.read_text()
    _, again, _, none = run()
    journal.write_text(whole[: len(whole) - 20])
    _, _, _, last = run()

    assert asked == NAMES
    assert (again, none) == (first, [])
    assert last == NAMES[1:]
