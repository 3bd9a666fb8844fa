"""Pulses of winding pairs, from the gates."""

import numpy as np
import pytest

from dryspin.recording import find_winding_pulses
from dryspin.recording.timeline import Timeline
from dryspin.recording.windings import pair_name

HIGH, LOW = 1, 2


def _gates(*rows: tuple[int, int, int, int], end: int = 1000) -> Timeline:
    """(cycle, U, V, W) from each moment on."""
    table = np.array(rows, np.int64)
    return Timeline(table[:, 0], table[:, 1:], np.arange(len(rows)), end)


TWO = _gates(
    (0, 0, 0, 0), (100, 0, LOW, 0), (106, HIGH, LOW, 0), (200, 0, 0, 0), (306, LOW, HIGH, 0), (400, 0, 0, 0)
)


def test_a_pulse_lasts_from_the_second_fet_to_the_first_that_opens():
    """With one FET alone nothing is driven."""
    pulses = find_winding_pulses(TWO, 0, 1000, 0)

    assert pulses.starts.tolist() == [106, 306]
    assert pulses.stops.tolist() == [200, 400]
    assert [pair_name(int(p)) for p in pulses.pairs] == ["U+V-", "V+U-"]
    assert pulses.rows.tolist() == [2, 4]


@pytest.mark.parametrize(("join", "count"), [(9, 2), (10, 1)])
def test_a_chopped_leg_makes_one_pulse_of_many(join, count):
    """Pauses up to `join` cycles belong to the pulse, if the same pair comes back."""
    gates = _gates((0, HIGH, LOW, 0), (50, 0, LOW, 0), (60, HIGH, LOW, 0), (100, 0, LOW, 0))

    assert len(find_winding_pulses(gates, 0, 1000, join)) == count


def test_another_pair_is_another_pulse():
    """However short the pause."""
    gates = _gates((0, HIGH, LOW, 0), (50, 0, 0, 0), (51, HIGH, 0, LOW), (100, 0, 0, 0))

    assert len(find_winding_pulses(gates, 0, 1000, 40)) == 2


def test_only_what_lies_in_the_window_is_seen():
    """A pulse that reaches into it is cut."""
    pulses = find_winding_pulses(TWO, 150, 350, 0)

    assert list(zip(pulses.starts.tolist(), pulses.stops.tolist(), strict=True)) == [(150, 200), (306, 350)]
    assert len(find_winding_pulses(TWO, 210, 300, 0)) == 0
