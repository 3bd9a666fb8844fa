"""`dryspin known-bad`: the index read strictly, each firmware tried, rows and exit codes as promised."""

import json
import re
import shutil
from pathlib import Path

import pytest

from dryspin.cli.command import exit_code
from dryspin.errors import UsageError
from dryspin.known_bad import INDEX, Attempt, Attempts, Variant, read_index
from dryspin.report.known_bad import attempts_json, attempts_lines

from .variants import KNOWN_BAD

ENTRY = '[[variant]]\nname = "late"\nwrong = "comes too late"\nclaim = "gates.dead_time"\n'


@pytest.fixture
def folder(tmp_path) -> Path:
    """A folder with one firmware and an index to be spoilt."""
    (tmp_path / "late").mkdir()
    (tmp_path / "late" / "drive.toml").write_text("")
    (tmp_path / INDEX).write_text(ENTRY)
    return tmp_path


def test_an_entry_says_everything_about_its_firmware(folder):
    """With and without what may be left out."""
    (folder / INDEX).write_text(ENTRY + 'rare = "once a year"\nalso."gates.pattern" = "the same edge"\n')
    assert read_index(folder) == [
        Variant(
            folder / "late",
            "late",
            "comes too late",
            "gates.dead_time",
            {"gates.pattern": "the same edge"},
            "once a year",
        )
    ]
    (folder / INDEX).write_text(ENTRY)
    assert read_index(folder)[0].rare == ""


SPOILT = {
    "no index": (None, "no such file. Give the path of a list of known-bad firmwares"),
    "unknown claim": (
        ENTRY.replace("dead_time", "dead_tim"),
        "gates.dead_tim is no claim. Did you",
    ),
    "unknown also": (ENTRY + 'also."x.y" = "z"\n', ":5: [variant] also: x.y is no claim."),
    "missing": (
        ENTRY.replace('wrong = "comes too late"\n', ""),
        "wrong is missing. Give one sentence",
    ),
    "unknown key": (ENTRY + 'why = "x"\n', ":5: [variant] why is not a known key."),
    "twice": (ENTRY + ENTRY, '[variant] name = "late" is there twice. Remove one.'),
    "no such firmware": (ENTRY + ENTRY.replace("late", "early"), "early has no drive.toml. Correct it."),
    "left out": (ENTRY.replace('"late"', '"other"'), "other has no drive.toml"),
    "reason that says nothing": (ENTRY + 'also."gates.pattern" = ""\n', "not a table of claims and reasons"),
    "rare and unseen": (
        ENTRY + 'rare = "once a year"\nunseen = "never"\n',
        "[variant] unseen stands beside rare. What some scenario shows is not unseen.",
    ),
    "empty": ("variant = []\n", "names no firmware"),
    "other table": (
        ENTRY.replace("[[variant]]", "[[firmware]]"),
        "firmware is not a known table. Write [[variant]].",
    ),
}


@pytest.mark.parametrize("kind", SPOILT)
def test_a_spoilt_index_is_refused_with_file_and_key(folder, kind, capsys):
    """By the command, too: exit code 2, one message."""
    text, message = SPOILT[kind]
    if text is None:
        (folder / INDEX).unlink()
    else:
        (folder / INDEX).write_text(text)
    with pytest.raises(UsageError) as raised:
        read_index(folder)
    assert str(folder) in str(raised.value)
    assert message in str(raised.value)

    assert exit_code(["known-bad", str(folder)]) == 2
    assert "Traceback" not in capsys.readouterr().err


def test_a_firmware_without_an_entry_is_no_oversight(folder):
    """It would never be tried, and nobody would know."""
    shutil.copytree(folder / "late", folder / "forgotten")
    with pytest.raises(UsageError, match=r"has no \[\[variant\]\] for forgotten"):
        read_index(folder)


def test_a_gross_defect_is_found_by_the_claim_made_for_it(tmp_path, capsys, monkeypatch):
    """Two legs high with every step, and a pulse that is half as long again: one scenario shows both."""
    monkeypatch.chdir(tmp_path)
    names = ["closes_before_it_opens", "pulses_too_long"]
    only = [part for name in names for part in ("--only", name)]
    code = exit_code(["known-bad", str(KNOWN_BAD), *only, "--scenarios", "11", "--json", "rows.json"])
    out = capsys.readouterr().out
    rows = json.loads((tmp_path / "rows.json").read_text())

    assert code == 0
    assert [row["name"] for row in rows] == names
    assert {"name", "found", "claim", "scenarios", "events", "rare"} <= set(rows[0])
    assert [(row["found"], row["claim"]) for row in rows] == [(True, "gates.two_high"), (True, "tones.pulse")]
    assert all(1 <= row["scenarios"] <= 11 and row["events"] <= 1 and not row["rare"] for row in rows)
    assert "2 of 2 found, seed 0" in out
    assert [path.name for path in tmp_path.iterdir()] == ["rows.json"]


def test_the_checked_build_is_asked_where_no_recording_shows_it(folder):
    """Its faults have names like claims, one for each kind."""
    (folder / INDEX).write_text(ENTRY.replace("gates.dead_time", "code.torn_read"))
    (variant,) = read_index(folder)

    assert variant.fault_kind == "torn read"
    (folder / INDEX).write_text(ENTRY)
    assert read_index(folder)[0].fault_kind == ""


def test_a_torn_read_is_found_by_the_checked_build(capsys):
    """In the first scenario: which handlers were enabled counts, not where they fell."""
    only = ["--only", "reads_a_pulse_with_interrupts_on"]

    assert exit_code(["known-bad", str(KNOWN_BAD), *only, "--scenarios", "11", "--workers", "1"]) == 0
    assert re.search(r"^found .* code.torn_read +1 ", capsys.readouterr().out, re.MULTILINE)


def row(found=True, rare="", objected=(), unseen=""):
    """One result."""
    variant = Variant(Path("late"), "late", "comes too late", "gates.dead_time", {}, rare, unseen)
    return Attempt(variant, found, objected, 12, 30.25, 2 if found else None, 40 if found else 0)


@pytest.mark.parametrize("rare", ["", "once a year"])
def test_what_is_missed_fails_be_it_rare_or_not(rare):
    """A search that finds no more than scenarios drawn at random is not worth its trouble."""
    assert [len(Attempts((row(found, rare),), None, 0, 1.0).missed) for found in (True, False)] == [0, 1]


def test_what_is_unseen_must_stay_so():
    """Found after all, it is to be taken out of the list, else nobody would notice when it is lost again."""
    hidden, seen = row(False, unseen="too short"), row(True, unseen="too short")

    assert Attempts((hidden,), None, 0, 1.0).missed == ()
    assert Attempts((hidden,), None, 0, 1.0).seen_after_all == ()
    assert Attempts((seen,), None, 0, 1.0).seen_after_all == (seen,)
    assert "late was found, which the index calls unseen: take that out of it" in attempts_lines(
        Attempts((seen,), None, 0, 1.0)
    )
    lines = attempts_lines(Attempts((hidden,), None, 0, 1.0))
    assert lines[1].startswith("unseen  late")
    assert "  unseen: too short" in lines


def test_the_table_reads_as_told():
    """Every column, and what is known of those that were not found."""
    rows = (row(), row(False, "once a year"), row(False, objected=("gates.pattern",)))

    assert attempts_lines(Attempts(rows, None, 3, 7.0)) == [
        "        firmware  claim that must object  scenarios  simulated  events",
        "found   late      gates.dead_time                12    30.25 s       2",
        "missed  late      gates.dead_time                12    30.25 s        ",
        "missed  late      gates.dead_time                12    30.25 s        ",
        "",
        "late: comes too late",
        "  rare: once a year",
        "",
        "late: comes too late",
        "  others objected: gates.pattern",
        "",
        "1 of 3 found, seed 3, in 7 s",
        "2 missed: raise --scenarios, or find out whether the firmware, the search or the claim is to blame",
        "Found says something about the tester, nothing about a firmware of yours. "
        "Never flash one of these: they are wrong on purpose.",
    ]
    assert [given["events"] for given in attempts_json(Attempts(rows, None, 3, 7.0))] == [2, None, None]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--only", "pulses_too_lang"], "--only pulses_too_lang: no such firmware"),
        (["--only", "pulses_too_long", "--scenarios", "3"], "3 scenarios for 11 families"),
        (["--json", "nowhere/rows.json"], "--json nowhere/rows.json"),
    ],
)
def test_what_cannot_be_done_is_refused_at_once(arguments, message, capsys):
    """With the option that is to blame."""
    assert exit_code(["known-bad", str(KNOWN_BAD), *arguments]) == 2
    assert message in capsys.readouterr().err


def test_a_missing_folder_is_named(tmp_path, monkeypatch, capsys):
    """The default one, where the command is called elsewhere."""
    monkeypatch.chdir(tmp_path)
    assert exit_code(["known-bad"]) == 2
    assert "firmware_under_test/known_bad: no such directory; give the folder" in capsys.readouterr().err
