"""No key of a drive, of its claims or of a scenario takes a number that cannot be.

The cases come from the declarations themselves, so that a new key is covered without a line here.
"""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import tomli_w

from dryspin.drive import load_claims, load_drive, schema
from dryspin.drive.claims import LIMIT
from dryspin.drive.keys import Key, Number, Numbers, Spanned
from dryspin.errors import ClaimsError, DriveError, ScenarioError
from dryspin.scenario import parse_scenario
from dryspin.scenario import schema as scenario_schema

from .sheet import SHEET

ENDLESS = ("nan", "-nan", "inf", "-inf", "1e400", "-1e400", str(10**400))
HUGE = ("1e300", "1e30")
"""Finite, and larger than anything in any unit that key names use."""


def impossible(key: Number) -> Iterator[str]:
    """Numbers, as a file spells them, that `key` must refuse."""
    yield from ENDLESS
    # a count of 1e30 is refused for not being whole, which would say nothing about its bounds
    yield from (str(10**30),) if key.whole else HUGE
    if key.above is not None:
        yield f"{int(key.above)}" if key.whole else f"{key.above:.17g}"
        yield f"-{1 if key.whole else 1.0}"
        yield "1e-300"
    if key.at_least is not None:
        below = key.at_least - (1 if key.whole else 1e-3 * max(1.0, abs(key.at_least)))
        yield f"{below:.17g}"
    else:
        yield "-1" + "0" * 30
    if key.at_most is not None:
        yield str(int(key.at_most) + 1) if key.whole else f"{key.at_most * 1.001 + 1e-300:.17g}"


NUMBERS = [
    (table, key)
    for table, keys in {**schema.TABLES, schema.TONES: schema.TONE}.items()
    for key in keys
    if isinstance(key, Number)
]


def named(value: object) -> str:
    """Name of a case."""
    return value.name if isinstance(value, Key) else str(value)


def write(path: Path, table: str, key: str, text: str) -> Path:
    """The sheet with one value spelled as `text`."""
    tables = {name: dict(values) for name, values in SHEET.items()}
    if table == schema.TONES:
        tone = {"name": "ready", "mark": 32, "notes": [["C6", 100]], "pulse_us": 10, key: "PLACE"}
        body = tomli_w.dumps({**tables, table: [tone]})
    else:
        if key == "kt_nm_per_a":
            del tables["motor"]["kv_rpm_per_v"], tables["motor"]["kv_from"]
            tables["motor"]["kt_from"] = "data sheet"
        if table == "calibration":
            tables[table] = {"enter_us": 1800}
        if table == "heat":
            tables[table] = {"winding_k_per_w": 3.0, "fet_k_per_w": 30.0, "ripple_max_a": 8.0}
        if table == "pins":
            tables[table] = {
                "high": ["PD5", "PB3", "PD3"],
                "low": ["PD4", "PB1", "PB2"],
                "phases": ["PC0", "PC1", "PC2"],
            }
        tables.setdefault(table, {})[key] = "PLACE"
        body = tomli_w.dumps(tables)
    path.write_text(body.replace('"PLACE"', text))
    return path


def said(read: Callable[[], object], error: type[Exception]) -> str:
    """What the reader says against it; "" where it takes it."""
    try:
        read()
    except error as refusal:
        return str(refusal)
    return ""


@pytest.mark.parametrize(("table", "key"), NUMBERS, ids=named)
def test_no_key_of_a_drive_takes_a_number_that_cannot_be(table: str, key: Number, tmp_path: Path) -> None:
    """One clear refusal that names the key, for each."""
    texts = list(impossible(key))
    if isinstance(key, Spanned):
        texts += [f"{{low = {t}, nominal = {t}, high = {t}}}" for t in impossible(key)]
        texts += [f"{{low = 1e-6, nominal = 1e-6, high = {t}}}" for t in ("inf", "nan", "1e300")]
    if isinstance(key, Numbers):
        count = key.count or key.fewest
        texts = [f"[{', '.join([t] * count)}]" for t in texts] + [f"[{', '.join(['0.5'] * (count - 1))}]"]
    path = tmp_path / "drive.toml"
    answers = {t: said(lambda t=t: load_drive(write(path, table, key.name, t)), DriveError) for t in texts}

    assert [text for text, answer in answers.items() if key.name not in answer] == []


@pytest.mark.parametrize("key", [key for key in LIMIT if isinstance(key, Number)], ids=named)
def test_no_limit_takes_a_number_that_cannot_be(key: Number, tmp_path: Path) -> None:
    """Zero neither: a margin is a share of its limit."""
    path, answers = tmp_path / "claims.toml", {}
    for text in [*impossible(key), "0", "0.0"]:
        path.write_text(f'declared = ["gates"]\n[limits.start_s]\n{key.name} = {text}\nwhy = "a test"\n')
        answers[text] = said(lambda: load_claims(path, ["gates.pattern"], ["start_s"]), ClaimsError)

    assert [text for text, answer in answers.items() if f"{key.name} = " not in answer] == []


BASE = {
    "dryspin_scenario": "1",
    "seed": "7",
    "end_s": "4.0",
    "rest_deg": "210.0",
    "frame_ms": "20.0",
    "throttle_us": "[[0.0, 1500]]",
}
SCENARIO_NUMBERS = [
    *(("", key) for key in scenario_schema.TOP if isinstance(key, Number)),
    *(("parts", key) for key in scenario_schema.PARTS.values() if isinstance(key, Number)),
    *(("fault", key) for key in scenario_schema.FAULT if isinstance(key, Number)),
]


def scenario_text(table: str, key: Number, text: str) -> str:
    """A scenario with one value spelled as `text`."""
    keys = dict(BASE)
    if table == "parts":
        return "\n".join(f"{k} = {v}" for k, v in keys.items()) + f"\n[parts]\n{key.name} = {text}\n"
    if table == "fault":
        fault = {"kind": '"supply gap"', "at_s": "1.0", "for_ms": "30", key.name: text}
        tables = "\n".join(f"{k} = {v}" for k, v in fault.items())
        return "\n".join(f"{k} = {v}" for k, v in keys.items()) + f"\n[[fault]]\n{tables}\n"
    keys[key.name] = f"[[0.0, {text}]]" if isinstance(key, scenario_schema.Points) else text
    return "\n".join(f"{k} = {v}" for k, v in keys.items()) + "\n"


@pytest.mark.parametrize(("table", "key"), SCENARIO_NUMBERS, ids=named)
def test_no_key_of_a_scenario_takes_a_number_that_cannot_be(table: str, key: Number) -> None:
    """Traces are tried by the value of a point."""
    answers = {
        text: said(lambda text=text: parse_scenario(scenario_text(table, key, text), "text"), ScenarioError)
        for text in impossible(key)
    }

    assert [text for text, answer in answers.items() if key.name not in answer] == []


def test_the_cases_hold_every_physical_table() -> None:
    """Else a table could go uncovered unseen."""
    tables = {table for table, _ in NUMBERS}

    assert tables >= {"motor", "load", "bridge", "supply", "sense", "controller", "throttle", "calibration"}
    assert {table for table, _ in SCENARIO_NUMBERS} == {"", "parts", "fault"}


SHORT = {
    "winding": ("motor", "l_phase_h", "1e-8"),
    "bus": ("supply", "c_f", "1e-9"),
    "rotor": ("motor", "j_kg_m2", "1e-10"),
    "propeller": ("load", "kq_nm_s2", "1.0"),
    "friction": ("load", "viscous_nm_s", "10.0"),
}


@pytest.mark.parametrize("name", SHORT)
def test_values_that_are_possible_one_by_one_must_make_a_drive_together(name: str, tmp_path: Path) -> None:
    """Slips of powers of ten whose runs would take for ever, or leave the range of numbers."""
    with pytest.raises(DriveError, match=r"the time constant of the .* slip in the powers of ten"):
        load_drive(write(tmp_path / "drive.toml", *SHORT[name]))
