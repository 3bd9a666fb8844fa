"""Parts of a scenario against the ranges of the drive they are for."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryspin.drive import Range, load_drive
from dryspin.errors import ScenarioError
from dryspin.scenario import Scenario, fits, part_ranges, read_scenario
from dryspin.scenario.schema import PARTS

ROOT = Path(__file__).parents[2]
BOW_THRUSTER = ROOT / "firmware_under_test" / "bow_thruster"
PACK = load_drive(BOW_THRUSTER)
LAB = load_drive(BOW_THRUSTER / "drive_lab_supply.toml")


def with_parts(**parts: float) -> Scenario:
    """A second of neutral throttle with these parts."""
    return Scenario(0, 1.0, 0.0, 20.0, ((0.0, 1500.0),), parts=parts)


def test_every_part_of_the_format_has_a_range_on_the_drive():
    """A part without one would be taken unchecked."""
    assert set(part_ranges(PACK)) == set(PARTS)


@pytest.mark.parametrize("drive", [PACK, LAB], ids=["pack", "lab"])
@given(data=st.data())
def test_any_value_inside_the_ranges_fits(drive, data):
    """Both ends included, in spite of the rounding of factors."""
    parts = {}
    for name, allowed in part_ranges(drive).items():
        value = data.draw(st.floats(allowed.low, allowed.high) | st.sampled_from([allowed.low, allowed.high]))
        parts[name] = value
    fits(with_parts(**parts), drive)

    assert all(parts[name] in allowed for name, allowed in part_ranges(drive).items())


@pytest.mark.parametrize("name", sorted(PARTS))
@pytest.mark.parametrize("side", ["below", "above"])
def test_value_just_outside_is_refused(name, side):
    """A thousandth beyond either end."""
    allowed = part_ranges(PACK)[name]
    step = 1e-3 * max(abs(allowed.low), abs(allowed.high))
    value = allowed.low - step if side == "below" else allowed.high + step
    with pytest.raises(ScenarioError, match=rf"\[parts\] {name} = .* is outside .* Choose a value inside"):
        fits(with_parts(**{name: value}), PACK)


def test_refusal_names_scenario_value_range_and_drive():
    """Where to change it: here, or there."""
    with pytest.raises(ScenarioError) as refusal:
        fits(with_parts(kv=1.2), PACK, source="trace.toml")

    assert str(refusal.value) == (
        f"trace.toml: [parts] kv = 1.2 is outside 0.95 to 1.05, the range of {PACK.path}. "
        "Choose a value inside, or widen the range there."
    )


def test_propeller_comes_off_on_the_lab_drive_only():
    """Factor 0 on kq; under water it stays on."""
    fits(with_parts(kq=0.0), LAB)
    assert part_ranges(LAB)["kq"] == Range(0.0, 1.0, 1.5)

    with pytest.raises(ScenarioError, match=r"kq = 0\.0 is outside 0\.5 to 1\.5"):
        fits(with_parts(kq=0.0), PACK)


@pytest.mark.parametrize(
    "path", sorted((ROOT / "traces" / "by_hand").glob("*.toml")), ids=lambda path: path.name
)
def test_scenarios_written_by_hand_fit_the_default_drive(path):
    """Else `check` would refuse what the README shows."""
    scenario = read_scenario(path)
    fits(scenario, PACK, source=str(path))

    assert set(scenario.parts) <= set(part_ranges(PACK))
