"""A scenario written and read again is the same scenario, to the last bit."""

import tomllib
from pathlib import Path

from hypothesis import example, given
from hypothesis import strategies as st

from dryspin.scenario import Fault, Scenario, parse_scenario, read_scenario, scenario_from_table

from .strategy import scenarios

BY_HAND = Path(__file__).parents[2] / "traces" / "by_hand"


@given(scenarios())
@example(Scenario(0, 0.1 + 0.2, 5e-324, 20.0, ((0.0, 1e-300),), load_nm=((0.0, -0.0), (5e-324, 1e3 / 3))))
def test_scenario_survives_the_file(scenario):
    """Digests are of runs: a scenario changed by its file would not replay."""
    text = scenario.to_toml()
    again = parse_scenario(text, "again.toml")

    assert again == scenario
    # Equality calls 0.0 and -0.0 the same; the text does not.
    assert again.to_toml() == text


@given(scenarios())
def test_scenario_survives_a_table_inside_another_file(scenario):
    """Findings carry their scenario inline."""
    assert scenario_from_table(scenario.as_table(), "finding.toml [scenario]") == scenario
    assert scenario.as_table() == tomllib.loads(scenario.to_toml())


@given(scenarios(), st.randoms(use_true_random=False))
def test_order_of_parts_makes_no_difference(scenario, random):
    """Equal scenarios are written alike, hash alike, and may be keys of a cache."""
    names = list(scenario.parts)
    random.shuffle(names)
    fields = {name: getattr(scenario, name) for name in scenario.__dataclass_fields__}
    shuffled = Scenario(**fields | {"parts": {name: scenario.parts[name] for name in names}})

    assert shuffled == scenario
    assert hash(shuffled) == hash(scenario)
    assert shuffled.to_toml() == scenario.to_toml()


def test_file_is_short_enough_to_read():
    """One line a key, defaults left out."""
    scenario = Scenario(
        seed=7,
        end_s=4,
        rest_deg=210,
        frame_ms=20,
        throttle_us=[(0, 1500), (1, 1900), (2.5, 1100)],
        supply_v=[(0, 12.1)],
        parts={"offset_v": -0.01, "r_phase": 1.05},
        faults=[Fault("reset", 1.2)],
    )

    assert (
        scenario.to_toml()
        == """\
dryspin_scenario = 1
seed = 7
end_s = 4.0
rest_deg = 210.0
frame_ms = 20.0
throttle_us = [[0.0, 1500.0], [1.0, 1900.0], [2.5, 1100.0]]
supply_v = [[0.0, 12.1]]

[parts]
r_phase = 1.05
offset_v = -0.01

[[fault]]
kind = "reset"
at_s = 1.2
"""
    )


def test_scenarios_written_by_hand_are_read_and_survive():
    """The shipped files are the examples that people copy."""
    paths = sorted(BY_HAND.glob("*.toml"))
    assert BY_HAND / "reference.toml" in paths
    for path in paths:
        scenario = read_scenario(path)
        assert parse_scenario(scenario.to_toml(), str(path)) == scenario


def test_whole_numbers_in_a_file_are_taken_as_floats():
    """`1500` is easier to write than `1500.0`, and means the same."""
    head = "dryspin_scenario = 1\nseed = 1\nend_s = 2\nrest_deg = 0\nframe_ms = 20\n"
    scenario = parse_scenario(head + "throttle_us = [[0, 1500]]\n", "s.toml")

    assert scenario.throttle_us == ((0.0, 1500.0),)
    assert isinstance(scenario.throttle_us[0][1], float)
    assert isinstance(scenario.end_s, float)
