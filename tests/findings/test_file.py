"""The finding file: exact, strict, whole or not at all."""

import re
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dryspin.drive import load_drive
from dryspin.errors import FindingError
from dryspin.findings import Outcome, finding_text, read_finding, write_finding
from dryspin.search import drafts

from ..search.subject import BOW_THRUSTER
from .samples import OUTCOME, SCENARIO, finding

DRIVE = load_drive(BOW_THRUSTER / "drive.toml")

TEXT = """\
dryspin_finding = 1
claim = "reversal.opposing_drive"
expected = "broken"
margin = -6.8
limit = 400.0
seen = 3120.0
unit = "rpm"
moment_s = 1.2314
text = "the legs drive reverse while the rotor turns forward at 3 120 rpm: 61.4 A in phase V"
source_line = "reversing.c:88"
search_seed = 5
firmware = "firmware"
drive = "firmware/drive.toml"
digest = "0123"

[hashes]
firmware = "f0"
drive = "d0"
claims = "c0"
build = "b0"

[scenario]
dryspin_scenario = 1
seed = 7
end_s = 1.25
rest_deg = 210.0
frame_ms = 20.0
throttle_us = [[0.0, 1500.0], [0.4, 1900.0], [1.22, 1100.0]]
supply_v = [[0.0, 12.1]]

[scenario.parts]
r_phase = 1.05

[[scenario.fault]]
kind = "reset"
at_s = 1.2314
"""


def test_the_file_reads_like_this(tmp_path):
    """It is kept in a repository and reviewed: the text is output under test."""
    assert finding_text(finding(tmp_path), tmp_path) == TEXT


def test_what_is_written_is_read_back(tmp_path):
    """Paths are relative to the file, so that a clone elsewhere replays it."""
    path = tmp_path / "kept" / "a.toml"
    path.parent.mkdir()
    write_finding(path, finding(tmp_path))
    found = read_finding(path)

    assert found.scenario == SCENARIO
    assert found.outcome == OUTCOME
    assert found.firmware.resolve() == tmp_path / "firmware"
    assert found.drive.resolve() == tmp_path / "firmware" / "drive.toml"
    assert 'firmware = "../firmware"' in path.read_text()
    assert [p.name for p in path.parent.iterdir()] == ["a.toml"]


def test_the_object_code_that_was_charged_is_written_and_read_back(tmp_path):
    """Only where it was: a finding of a flat cost has no such line."""
    path = tmp_path / "a.toml"
    plain = finding(tmp_path)
    write_finding(path, replace(plain, hashes={**plain.hashes, "costs": "c0de x 2"}))

    assert read_finding(path).hashes == {**plain.hashes, "costs": "c0de x 2"}
    write_finding(path, plain)
    assert "costs" not in read_finding(path).hashes


numbers = st.none() | st.floats(allow_nan=False, allow_infinity=False, width=64)
texts = st.text(st.characters(exclude_categories=("Cs", "Cc"))).map(str.strip)


@given(
    family=st.sampled_from(["gates", "reversal", "arming"]),
    data=st.data(),
    outcome=st.builds(
        Outcome,
        claim=st.just("reversal.opposing_drive"),
        status=st.just("broken"),
        margin=numbers,
        moment_s=numbers,
        limit=numbers,
        seen=numbers,
        unit=texts,
        text=texts,
        source_line=texts,
    ),
)
@settings(max_examples=60, database=None, deadline=None)
def test_every_finding_survives_its_file_exactly(tmp_path_factory, family, data, outcome):
    """A scenario off by one bit may not break the claim again."""
    folder = tmp_path_factory.mktemp("kept")
    scenario = data.draw(drafts(DRIVE, family)).scenario
    write_finding(folder / "a.toml", finding(folder, scenario=scenario, outcome=outcome))
    found = read_finding(folder / "a.toml")

    assert found.scenario == scenario
    assert found.outcome == outcome


REFUSALS = {
    "empty": (lambda text: "", "a.toml: is empty; a finding file was expected."),
    "cut off in the head": (
        lambda text: text[: text.index("[hashes]")],
        "a.toml: lacks the table [hashes]. Is the file cut off?",
    ),
    "cut off before the scenario": (
        lambda text: text[: text.index("[scenario]")],
        "a.toml: lacks the table [scenario]. Is the file cut off?",
    ),
    "cut off in a line": (
        lambda text: text[: text.index("1900.0")],
        "a.toml:28: not TOML: Invalid value; the finding file ends here. Is it cut off?",
    ),
    "other version": (
        lambda text: text.replace("dryspin_finding = 1", "dryspin_finding = 2"),
        "a.toml:1: dryspin_finding = 2; this dryspin reads version 1. "
        "Replay it with the dryspin that wrote it, or search again.",
    ),
    "a scenario instead": (
        lambda text: SCENARIO.to_toml(),
        "a.toml: is not a finding file: it lacks dryspin_finding = 1. Was another file given?",
    ),
    "unknown key": (
        lambda text: text.replace("expected =", "expectd ="),
        "a.toml:3: expectd is not a known key. Did you mean 'expected'?",
    ),
    "unknown verdict": (
        lambda text: text.replace('expected = "broken"', 'expected = "burnt"'),
        'a.toml:3: expected = "burnt": is not known. Known values: broken, held. '
        "Give the verdict it is kept for.",
    ),
    "scenario out of order": (
        lambda text: text.replace("[0.4, 1900.0]", "[1.3, 1900.0]"),
        "a.toml:28: throttle_us = [[0.0, 1500.0], [1.3, 1900.0], [1.22, 1100.0]]: has point 2 at 1.22 s, "
        "which is not after point 1 at 1.3 s; sort the points by time. Give the pulse width as steps "
        "[[time in s, width in us], ...], 0 for no pulse. (in the [scenario] of this finding)",
    ),
    "hashes no table": (
        lambda text: text[: text.index("[hashes]")] + "hashes = 1\n" + text[text.index("[scenario]") :],
        "a.toml:16: hashes is not a table. Write [hashes] on a line of its own and its keys below.",
    ),
}


@pytest.mark.parametrize(("damage", "message"), REFUSALS.values(), ids=REFUSALS)
def test_a_damaged_file_is_refused_with_place_and_remedy(tmp_path, monkeypatch, damage, message):
    """A replay of something else than what was found would mislead."""
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "a.toml"
    path.write_text(damage(TEXT))
    with pytest.raises(FindingError) as raised:
        read_finding(path.relative_to(tmp_path))

    assert str(raised.value) == message


def test_a_binary_file_is_refused(tmp_path):
    """A recording given by mistake."""
    path = tmp_path / "a.toml"
    path.write_bytes(b"PK\x03\x04\xff\xfe")

    with pytest.raises(FindingError, match=r"a\.toml:1: byte 0xff is not UTF-8 text"):
        read_finding(path)


def test_a_missing_file_is_refused(tmp_path):
    """The message names the path that was tried."""
    with pytest.raises(FindingError, match=re.escape(f"{tmp_path / 'a.toml'}: no such file")):
        read_finding(tmp_path / "a.toml")


@pytest.mark.parametrize("there", ["notes of mine\n", SCENARIO.to_toml(), ""])
def test_a_file_that_is_no_finding_is_never_replaced(tmp_path, there):
    """--save may point anywhere."""
    path = tmp_path / "a.toml"
    path.write_text(there)
    with pytest.raises(FindingError, match="exists and is not a finding this dryspin can read"):
        write_finding(path, finding(tmp_path))

    assert path.read_text() == there


def test_a_finding_is_replaced_at_once(tmp_path):
    """A reader never meets half a file, and nothing else is left in the folder."""
    path = tmp_path / "a.toml"
    write_finding(path, finding(tmp_path))
    write_finding(path, finding(tmp_path, expected="held"))

    assert read_finding(path).expected == "held"
    assert [p.name for p in tmp_path.iterdir()] == ["a.toml"]


def test_an_unwritable_place_is_named(tmp_path):
    """The folder is gone, say."""
    with pytest.raises(FindingError, match="cannot be written"):
        write_finding(tmp_path / "gone" / "a.toml", finding(tmp_path))
