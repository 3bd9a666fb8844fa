"""The declaration of keys: complete, explained, and one with the dataclasses it fills."""

import re
from dataclasses import fields

import pytest

from dryspin.drive import (
    Bridge,
    Calibration,
    Controller,
    Firmware,
    Load,
    Motor,
    Sense,
    Supply,
    Throttle,
    Tone,
    claims,
    schema,
)
from dryspin.drive.keys import Key
from dryspin.scenario import Fault, Scenario
from dryspin.scenario import schema as scenario_schema

MODEL = {
    "firmware": Firmware,
    "motor": Motor,
    "load": Load,
    "bridge": Bridge,
    "supply": Supply,
    "sense": Sense,
    "controller": Controller,
    "throttle": Throttle,
    "calibration": Calibration,
    "tone": Tone,
}
TABLES = {**schema.TABLES, schema.TONES: schema.TONE}
KEYS: dict[str, Key] = {
    f"{table}.{key.name}": key
    for table, keys in {
        **TABLES,
        "top": schema.TOP,
        "claims": (*claims.TOP, *claims.LIMIT, *claims.SUPPRESSION),
        "scenario": scenario_schema.TOP,
        "parts": tuple(scenario_schema.PARTS.values()),
        "fault": scenario_schema.FAULT,
    }.items()
    for key in keys
}


@pytest.mark.parametrize("name", KEYS)
def test_key_says_what_to_give_and_every_default_has_its_reason(name):
    """Error texts and help print them; a default without a reason is a guess."""
    key = KEYS[name]

    assert key.meaning
    assert key.required == (not key.reason)


@pytest.mark.parametrize("name", [name for name, key in KEYS.items() if key.unit])
def test_unit_stands_in_the_name_of_the_key(name):
    """So that no number is ever read in another unit than it was written in."""
    suffix = KEYS[name].unit.lower().replace("/", "_per_").replace(" ", "_")

    assert re.search(rf"_{suffix}$", name.partition(".")[2])


@pytest.mark.parametrize("table", MODEL)
def test_tables_of_the_file_are_the_fields_of_the_model(table):
    """kt is the one key without a field: it is turned into kv."""
    declared = {key.name for key in TABLES[table]} - {"kt_nm_per_a", "kt_from"}

    assert declared == {field.name for field in fields(MODEL[table])}


def test_keys_of_a_scenario_are_the_fields_of_the_model():
    """Nothing of a scenario is lost in its file."""
    assert {key.name for key in scenario_schema.TOP} | {"parts", "faults"} == {
        f.name for f in fields(Scenario)
    }
    assert [key.name for key in scenario_schema.FAULT] == [f.name for f in fields(Fault)]


def test_tables_that_may_be_left_out_have_a_default_for_every_key():
    """And only those may."""
    complete = [name for name, keys in schema.TABLES.items() if not any(key.required for key in keys)]

    assert complete == list(schema.OPTIONAL_TABLES)
