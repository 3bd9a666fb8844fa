"""Which stick ranges are ones that a transmitter may have."""

import pytest

PULSE = range(1600, 4401)
"""800 us to 2200 us in ticks of 0.5 us."""
SHORTEST, LONGEST = 400, 1400
"""settings.h: transmitters send 400 us to either side of neutral, with travel adjusted 200 us to 600 us; up
to 700 us are let pass."""


def is_sane(firmware, low, neutral, high):
    """The firmware's answer, 0 or 1."""
    return firmware.call.range_is_sane({"low_ticks": low, "neutral_ticks": neutral, "high_ticks": high})


def test_the_standard_range_is_that_of_a_servo(firmware):
    """1100, 1500 and 1900 us: 1.5 ms is neutral, 0.4 ms either way full (common practice, no source)."""
    standard = firmware.call.range_standard()

    assert (standard.low_ticks, standard.neutral_ticks, standard.high_ticks) == (2200, 3000, 3800)
    assert firmware.call.range_is_sane(standard) == 1


@pytest.mark.parametrize("span", [SHORTEST, SHORTEST + 1, 800, LONGEST - 1, LONGEST])
def test_spans_of_a_transmitter_are_sane_on_either_side(firmware, span):
    """Borders included, whatever the other side has."""
    assert is_sane(firmware, 3000 - span, 3000, 3000 + SHORTEST) == 1
    assert is_sane(firmware, 3000 - SHORTEST, 3000, 3000 + span) == 1


@pytest.mark.parametrize("span", [SHORTEST - 1, LONGEST + 1, 2400, 1, 0, -SHORTEST])
def test_a_span_too_narrow_too_wide_or_turned_round_is_refused_on_either_side(firmware, span):
    """Too narrow leaves nothing between dead band and full; the wrong order would turn the stick round."""
    assert is_sane(firmware, 4000 - span, 4000, 4400) == 0
    assert is_sane(firmware, 1600, 2000, 2000 + span) == 0


def test_the_ends_must_be_widths_of_a_pulse(firmware):
    """What throttle.c takes for noise can be no end of the stick."""
    assert is_sane(firmware, PULSE[0], 2400, 3200) == 1
    assert is_sane(firmware, PULSE[0] - 1, 2400, 3200) == 0
    assert is_sane(firmware, 2800, 3600, PULSE[-1]) == 1
    assert is_sane(firmware, 2800, 3600, PULSE[-1] + 1) == 0


def test_a_difference_beyond_sixteen_bits_does_not_look_sane(firmware):
    """An aged byte of the store may be anything: 264 is 800 after 65 000 only where 16 bits wrap."""
    assert is_sane(firmware, 65_000, 264, 1064) == 0
    assert is_sane(firmware, 2200, 65_000, 264) == 0
