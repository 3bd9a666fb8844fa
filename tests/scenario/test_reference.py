"""The reference scenario: power-on, start, reversal, in four seconds."""

from pathlib import Path

from dryspin.scenario import read_scenario

REFERENCE = Path(__file__).parents[2] / "traces" / "by_hand" / "reference.toml"


def test_reference_asks_forward_and_then_reverse_from_210_degrees():
    """Two events after power-on are the shortest that show a reversal."""
    scenario = read_scenario(REFERENCE)
    widths_us = [width_us for _, width_us in scenario.throttle_us]

    assert scenario.end_s == 4.0
    assert scenario.rest_deg == 210.0
    assert widths_us[0] == 1500.0
    assert max(widths_us) > 1500.0 > min(widths_us)
    assert widths_us.index(max(widths_us)) < widths_us.index(min(widths_us))
