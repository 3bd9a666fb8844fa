"""The six patterns against the EMF of a three-phase winding, as the header's first lines give it.

No table of patterns is used here: each is judged by the torque that it gives, and by the EMF of the leg
that it leaves open.
"""

import pytest

FORWARD, REVERSE = 1, 2
OPEN, LOW, CHOPPED = 0, 1, 3
FALLS_BELOW, RISES_ABOVE = 0, 1
CURRENT = {OPEN: 0, LOW: -1, CHOPPED: 1}
"""Into a leg: one-sided chopping drives the chopped leg, the low one returns the current."""
WAY = {FORWARD: 1, REVERSE: -1}


def emf(leg: int, deg: float) -> float:
    """Of a phase at an electrical angle, turning forward: U is flat from 30 to 150 degrees."""
    angle = (deg - 120.0 * leg) % 360.0
    if angle > 180.0:
        return -emf(0, angle - 180.0)
    return min(angle, 180.0 - angle, 30.0) / 30.0


def torque(firmware, step: int, deg: float) -> float:
    """Of a pattern on a rotor at `deg`: current times EMF per speed, summed over the legs."""
    legs = firmware.call.steps_pattern(step)[0:3]
    return sum(CURRENT[legs[leg]] * emf(leg, deg) for leg in range(3))


def middle_deg(step: int, direction: int) -> float:
    """The middle of a pattern's 60 degrees; half a turn further it pulls backwards."""
    return (60.0 * step + 60.0) % 360.0 if direction == FORWARD else (60.0 * step + 240.0) % 360.0


@pytest.mark.parametrize("direction", [FORWARD, REVERSE])
@pytest.mark.parametrize("step", range(6))
def test_each_pattern_pulls_best_where_the_header_says(firmware, step, direction):
    """From 30 + 60 n to 90 + 60 n degrees forwards, and nowhere is another pattern stronger."""
    middle = middle_deg(step, direction)
    for deg in (middle - 29.0, middle, middle + 29.0):
        pulls = [WAY[direction] * torque(firmware, other, deg) for other in range(6)]

        assert pulls[step] == max(pulls) == pytest.approx(2.0)
        assert pulls.count(max(pulls)) == 1


@pytest.mark.parametrize("step", range(6))
def test_one_leg_drives_one_returns_and_the_open_one_is_named(firmware, step):
    """Its EMF is what the comparator is led to."""
    legs = firmware.call.steps_pattern(step)[0:3]

    assert sorted(legs) == [OPEN, LOW, CHOPPED]
    assert legs[firmware.call.steps_open_leg(step)] == OPEN


@pytest.mark.parametrize("direction", [FORWARD, REVERSE])
@pytest.mark.parametrize("step", range(6))
def test_the_open_legs_emf_crosses_in_mid_step_the_way_that_is_named(firmware, step, direction):
    """Backwards the EMF has the other sign at every angle, and the angles come in the other order."""
    leg, middle, way = firmware.call.steps_open_leg(step), middle_deg(step, direction), WAY[direction]
    before, at, after = (way * emf(leg, middle + way * shift) for shift in (-20.0, 0.0, 20.0))

    assert before == -after
    assert at == 0.0
    assert firmware.call.steps_edge(step, direction) == (RISES_ABOVE if after > before else FALLS_BELOW)


@pytest.mark.parametrize("direction", [FORWARD, REVERSE])
@pytest.mark.parametrize("step", range(6))
def test_the_next_pattern_is_the_best_one_sixty_degrees_further(firmware, step, direction):
    """And it is one of the six: after the last comes the first, not a seventh."""
    following = firmware.call.steps_next(step, direction)

    assert following in range(6)
    assert middle_deg(following, direction) == (middle_deg(step, direction) + WAY[direction] * 60.0) % 360.0


@pytest.mark.parametrize("direction", [FORWARD, REVERSE])
@pytest.mark.parametrize("step", range(6))
def test_from_one_pattern_to_the_next_no_leg_changes_its_fet(firmware, step, direction):
    """One opens, the open one closes, the third stays: a dead time is never due in a run of steps."""
    before = firmware.call.steps_pattern(step)[0:3]
    after = firmware.call.steps_pattern(firmware.call.steps_next(step, direction))[0:3]
    changed = [(was, now) for was, now in zip(before, after, strict=True) if was != now]

    assert len(changed) == 2
    assert all(OPEN in change for change in changed)
