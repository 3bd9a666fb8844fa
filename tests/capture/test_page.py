"""The page on captures: its maps can be read, and map what they say."""

import re
from pathlib import Path

import pytest

from dryspin.capture import read_map
from dryspin.capture.mapping import LEVEL_SIGNALS, VOLTAGE_SIGNALS

PAGE = Path(__file__).parents[2] / "harness" / "dryspin" / "capture" / "README.md"

MAPS = dict(re.findall(r"<!-- map: (.*?) -->\n```toml\n(.*?)```", PAGE.read_text(), re.DOTALL))


@pytest.mark.parametrize(
    ("name", "signals"),
    [
        ("two terminals", {"phase U", "phase V"}),
        ("gates", set(LEVEL_SIGNALS) - {"comparator"}),
    ],
)
def test_its_maps_are_maps(tmp_path, name, signals):
    """A reader copies them first and thinks afterwards."""
    (tmp_path / "map.toml").write_text(MAPS[name])

    assert {channel.signal for channel in read_map(tmp_path / "map.toml").channels} == signals


def test_it_names_every_signal():
    """What a map may say must be found on the page: families by their first word."""
    table = PAGE.read_text().split("| signal | what it is |")[1].split("\n\n")[0]

    for signal in (*LEVEL_SIGNALS, *VOLTAGE_SIGNALS):
        assert f"`{signal.split()[0]}" in table, signal


def test_it_begins_with_the_cautions():
    """Whoever probes must have met them before the first table."""
    begin = " ".join(PAGE.read_text().split("## What to probe")[0].split())

    for words in ("Propeller off", "current limit", "eye protection", "is a short", "Local codes"):
        assert words in begin
