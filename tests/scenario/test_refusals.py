"""What a scenario may not say, and the one clear error each slip gets."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryspin.errors import ScenarioError
from dryspin.scenario import Fault, Scenario, parse_scenario, read_scenario, scenario_from_table

from .strategy import scenarios

LINES = {
    "dryspin_scenario": "dryspin_scenario = 1",
    "seed": "seed = 7",
    "end_s": "end_s = 4.0",
    "rest_deg": "rest_deg = 210.0",
    "frame_ms": "frame_ms = 20.0",
    "throttle_us": "throttle_us = [[0.0, 1500]]",
}
THROTTLE = "Give the pulse width as steps [[time in s, width in us], ...], 0 for no pulse."


FAULT_KINDS = (
    'Give "reset" (a short pulse on the reset pin), "power cut" (source and controller dead at once), '
    '"supply gap" (source off, the controller lives on the bus capacitor), "endless loop" (the code '
    'goes round and round with interrupts off, until a reset) or "lead open" (one phase is not connected).'
)


def text(*more: str, **lines: str) -> str:
    """A scenario file with lines changed (empty: left out) and more lines at its end."""
    return "\n".join([line for line in (LINES | lines).values() if line] + list(more)) + "\n"


CASES = {
    "other version": (
        text(dryspin_scenario="dryspin_scenario = 2"),
        ":1: dryspin_scenario = 2: this dryspin reads version 1. "
        "Use the dryspin that wrote the file, or write it anew for dryspin_scenario = 1.",
    ),
    "version as a bool": (
        text(dryspin_scenario="dryspin_scenario = true"),
        ":1: dryspin_scenario = True: this dryspin reads version 1. "
        "Use the dryspin that wrote the file, or write it anew for dryspin_scenario = 1.",
    ),
    "no version": (
        text(dryspin_scenario=""),
        ": dryspin_scenario is missing, so this is no scenario file. "
        'If it is one, begin it with "dryspin_scenario = 1".',
    ),
    "missing key": (
        text(end_s=""),
        ": end_s is missing. Give the length of the run in seconds from power-on, in s.",
    ),
    "unknown key": (text("suply_v = [[0, 12]]"), ":7: suply_v is not a known key. Did you mean 'supply_v'?"),
    "unit of the end": (
        text(end_s="end_ms = 4000"),
        ":3: end_ms: the unit is in the key's name; write end_s, in s: end_s = 4 "
        "(the length of the run in seconds from power-on).",
    ),
    "points out of order": (
        text(throttle_us="throttle_us = [[0.0, 1500], [2.0, 1900], [1.0, 1500]]"),
        ":6: throttle_us = [[0.0, 1500], [2.0, 1900], [1.0, 1500]]: has point 2 at 1.0 s, which is not after "
        f"point 1 at 2.0 s; sort the points by time. {THROTTLE}",
    ),
    "two points at once": (
        text(throttle_us="throttle_us = [[0.0, 1500], [1.0, 1900], [1.0, 1500]]"),
        ":6: throttle_us = [[0.0, 1500], [1.0, 1900], [1.0, 1500]]: has point 2 at 1.0 s, which is not after "
        f"point 1 at 1.0 s; sort the points by time. {THROTTLE}",
    ),
    "late first point": (
        text(throttle_us="throttle_us = [[0.5, 1500]]"),
        f":6: throttle_us = [[0.5, 1500]]: begins at 0.5 s, not at 0 s. {THROTTLE}",
    ),
    "no throttle": (
        text(throttle_us="throttle_us = []"),
        f":6: throttle_us = []: is an empty list. {THROTTLE}",
    ),
    "one number for a trace": (
        text(throttle_us="throttle_us = 1500"),
        f":6: throttle_us = 1500 us: is not a list of [time in s, value] points. {THROTTLE}",
    ),
    "triple for a point": (
        text(throttle_us="throttle_us = [[0, 1500, 1]]"),
        ":6: throttle_us = [[0, 1500, 1]]: has [0, 1500, 1] as point 0, which is not [time in s, value]. "
        f"{THROTTLE}",
    ),
    "bool in a point": (
        text(throttle_us="throttle_us = [[0, true]]"),
        ":6: throttle_us = [[0, true]]: has [0, true] as point 0: its value is true or false, "
        f"not a number (in us). {THROTTLE}",
    ),
    "endless value": (
        text(throttle_us="throttle_us = [[0, inf]]"),
        ":6: throttle_us = [[0, inf]]: has [0, inf] as point 0: its value is not a finite number (in us). "
        f"{THROTTLE}",
    ),
    "time that is no number": (
        text(throttle_us="throttle_us = [[0, 1500], [nan, 1600]]"),
        ":6: throttle_us = [[0, 1500], [nan, 1600]]: has [nan, 1600] as point 1: its time is not a finite "
        "number "
        f"(in s). {THROTTLE}",
    ),
    "negative width": (
        text(throttle_us="throttle_us = [[0, -1]]"),
        f":6: throttle_us = [[0, -1]]: has [0, -1] as point 0: its value must be at least 0 us. {THROTTLE}",
    ),
    "negative load factor": (
        text("load_factor = [[0, -1]]"),
        ":7: load_factor = [[0, -1]]: has [0, -1] as point 0: its value must be at least 0. "
        "Give a factor on the propeller's torque as points [[time in s, factor], ...].",
    ),
    "angle beyond the circle": (
        text(rest_deg="rest_deg = 361"),
        ":4: rest_deg = 361 deg: must be at most 360 deg. "
        "Give the rotor's angle at power-on in electrical degrees.",
    ),
    "endless end": (
        text(end_s="end_s = nan"),
        ":3: end_s = nan s: is not a finite number (in s). "
        "Give the length of the run in seconds from power-on.",
    ),
    "end in milliseconds": (
        text(end_s="end_s = 4000"),
        ":3: end_s = 4000 s: must be at most 600 s. Give the length of the run in seconds from power-on.",
    ),
    "negative seed": (
        text(seed="seed = -1"),
        ":2: seed = -1: must be at least 0. Give the seed of the noise, which is a function of seed and "
        "time.",
    ),
    "seed too long": (
        text(seed=f"seed = {2**63}"),
        f":2: seed = {2**63}: must be at most 9.223372037e+18. "
        "Give the seed of the noise, which is a function of seed and time.",
    ),
    "point after the end": (
        text("supply_v = [[0, 12], [5, 11]]"),
        ":7: supply_v has a point at 5.0 s, after the end at end_s = 4.0 s. Remove the point or move the "
        "end.",
    ),
    "pulse as long as its frame": (
        text(throttle_us="throttle_us = [[0, 1500], [1, 20000]]"),
        ":6: throttle_us has a pulse of 20000.0 us at 1.0 s, as long as its frame of frame_ms = 20.0 ms. "
        "Shorten the pulse or lengthen the frame.",
    ),
    "unknown part": (
        text("[parts]", "r_fase = 1.1"),
        ":8: [parts] r_fase is not a known part. Did you mean 'r_phase'?",
    ),
    "part of zero": (
        text("[parts]", "j = 0"),
        ":8: [parts] j = 0: must be above 0. Give a factor on the drive's nominal value.",
    ),
    "part without end": (
        text("[parts]", "j = inf"),
        ":8: [parts] j = inf: is not a finite number. Give a factor on the drive's nominal value.",
    ),
    "unknown table": (
        text("[part]", "j = 1"),
        ":7: part is not a known table. Did you mean 'parts'?",
    ),
    "one fault as a table": (
        text("[fault]", 'kind = "reset"'),
        ":7: fault is not a list of tables. Write [[fault]] with kind and at_s.",
    ),
    "unknown fault": (
        text("[[fault]]", 'kind = "rest"', "at_s = 1"),
        ":8: [fault] kind = \"rest\": is not known. Did you mean 'reset'? " + FAULT_KINDS,
    ),
    "fault to come": (
        text("[[fault]]", 'kind = "watchdog"', "at_s = 1.2", "for_ms = 30"),
        ':8: [fault] kind = "watchdog": is not on the rig yet: '
        'the faults now are "reset", "power cut", "supply gap", "endless loop" and "lead open". '
        + FAULT_KINDS,
    ),
    "lead of no phase": (
        text("[[fault]]", 'kind = "lead open"', "at_s = 0.0"),
        ':8: [fault] phase is missing: a lead open has one. Give "U", "V" or "W".',
    ),
    "phase of something else": (
        text("[[fault]]", 'kind = "reset"', "at_s = 1.0", 'phase = "U"'),
        ':10: [fault] phase = "U": a reset has none. Remove it, or write kind = "lead open".',
    ),
    "lead that opens later": (
        text("[[fault]]", 'kind = "lead open"', "at_s = 0.5", 'phase = "V"'),
        ":9: [fault] at_s = 0.5 s: a lead is open from power-on or not at all, since a lead that opens under "
        "current draws an arc, which is not modelled. Write at_s = 0.",
    ),
    "power cut without a length": (
        text("[[fault]]", 'kind = "power cut"', "at_s = 1.2"),
        ":7: [fault] for_ms is missing: a power cut has a length. Give for_ms in ms.",
    ),
    "store of another kind": (
        text('store = "0g"'),
        ':7: store = "0g": is not an even number of hexadecimal digits. '
        "Give the first bytes of the byte store at power-on, as hexadecimal digits.",
    ),
    "fault without a moment": (
        text("[[fault]]", 'kind = "reset"'),
        ":7: [fault] at_s is missing. Give the moment of the fault in s, in s.",
    ),
    "fault after the end": (
        text("[[fault]]", 'kind = "reset"', "at_s = 4"),
        ":9: [fault] at_s = 4.0 s is not before the end at end_s = 4.0 s. Remove the fault or move the end.",
    ),
    "faults out of order": (
        text("[[fault]]", 'kind = "reset"', "at_s = 2", "[[fault]]", 'kind = "reset"', "at_s = 1"),
        ":12: [fault] at_s = 1.0 s comes after a fault at 2.0 s. Sort the faults by time.",
    ),
    "lasting reset": (
        text("[[fault]]", 'kind = "reset"', "at_s = 2", "for_ms = 3"),
        ":10: [fault] for_ms = 3.0 ms: a reset is a moment. Remove for_ms.",
    ),
    "toml slip": (
        text(seed="seed 7"),
        ":2: not TOML: Expected '=' after a key in a key/value pair, at column 6. Correct that line.",
    ),
    "cut inside a trace": (
        "dryspin_scenario = 1\nthrottle_us = [[0.0, 15",
        ":2: not TOML: Unclosed array; the scenario file ends here. Is it cut off?",
    ),
    "empty": ("", ": is empty; a scenario file was expected."),
    "nested without end": ("a = " + "[" * 5000, ": brackets nested too deep for a scenario file."),
}


@pytest.mark.parametrize("case", CASES)
def test_slip_is_named_with_line_value_and_remedy(case):
    """One error, complete: nobody should have to read this code to correct a file."""
    given_text, message = CASES[case]
    with pytest.raises(ScenarioError) as refusal:
        parse_scenario(given_text, "trace.toml")

    assert str(refusal.value) == f"trace.toml{message}"


def test_file_without_changes_is_taken():
    """Else the cases above could be refused for another reason."""
    assert parse_scenario(text(), "trace.toml").seed == 7


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (
            b"PK\x03\x04\x00\x00",
            ":1: holds a NUL byte; a scenario file is a TOML text file. Was another file given?",
        ),
        (
            b"a\n\x93NUMPY",
            ":2: byte 0x93 is not UTF-8 text; a scenario file is a TOML file. Was another file given?",
        ),
    ],
)
def test_binary_file_is_said_to_be_none(content, message, tmp_path):
    """A recording given by mistake."""
    path = tmp_path / "trace.toml"
    path.write_bytes(content)
    with pytest.raises(ScenarioError) as refusal:
        read_scenario(path)

    assert str(refusal.value) == f"{path}{message}"


def test_missing_file_and_directory_are_named(tmp_path):
    """The path as it was looked for."""
    with pytest.raises(ScenarioError, match=r"none\.toml: no such file\. Give the path of a scenario file\."):
        read_scenario(tmp_path / "none.toml")
    with pytest.raises(ScenarioError, match=r"cannot be read \(Is a directory\)"):
        read_scenario(tmp_path)


@given(scenarios(), st.data())
def test_file_cut_anywhere_is_read_whole_or_refused(scenario, data):
    """A write that was interrupted. Cut after a complete line the rest may still be a scenario."""
    whole = scenario.to_toml()
    cut = whole[: data.draw(st.integers(0, len(whole) - 1))]
    try:
        outcome = parse_scenario(cut, "trace.toml").to_toml()
    except ScenarioError as refusal:
        outcome = str(refusal)

    assert outcome.startswith(("trace.toml", "dryspin_scenario = 1\n"))


def test_scenario_built_in_code_is_held_to_the_same_rules():
    """The search builds them without a file; a bad one must not reach the rig."""
    with pytest.raises(ScenarioError) as refusal:
        Scenario(seed=0, end_s=-1.0, rest_deg=0.0, frame_ms=20.0, throttle_us=((0.0, 1500.0),))
    assert str(refusal.value) == (
        "scenario: end_s = -1.0 s: must be above 0 s. Give the length of the run in seconds from power-on."
    )

    with pytest.raises(ScenarioError, match=r"^scenario: \[parts\] zzz is not a known part"):
        Scenario(0, 1.0, 0.0, 20.0, ((0.0, 1500.0),), parts={"zzz": 1.0})

    with pytest.raises(ScenarioError, match=r"^scenario: \[fault\] at_s = 2\.0 s is not before the end"):
        Scenario(0, 1.0, 0.0, 20.0, ((0.0, 1500.0),), faults=(Fault("reset", 2.0),))


def test_inline_scenario_is_refused_with_the_name_of_its_source():
    """A finding has no lines to name, but a file."""
    with pytest.raises(ScenarioError, match=r"^finding\.toml \[scenario\]: end_s is missing"):
        scenario_from_table({"dryspin_scenario": 1, "seed": 1}, "finding.toml [scenario]")
