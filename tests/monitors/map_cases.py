"""Where the claims on the throttle map are sharp, and what is planted for those without a distance."""

from dryspin.recording import Mark, Signal

from .courtroom import Case, Plant
from .rites import counts_at, sail
from .synthetic import FRAME_S, NEUTRAL_US, Story

START_S, HOLD_S = 0.8, 0.5
NEAR_US, FAR_US, FULL_US = 1640.0, 1720.0, 1880.0
SWEPT_US, SWEEP_US = 120.0, 2.0


def share(us: float) -> float:
    """Share of the stick's way from the dead band to full, of a stick ahead of neutral."""
    return (us - 1540.0) / 360.0


def sailed(*courses: list[tuple[float, float, int]]) -> Story:
    """Armed, then one run after the other."""
    story = Story(end_s=9.0)
    story.mark(0.001, Mark.OFF)
    story.mark(0.515, Mark.ARMED)
    at_s = 0.6
    for course in courses:
        at_s = sail(story, at_s, course) + 0.1
    story.end_s = at_s + 0.1
    return story


def held(us: float, counts: float, long_s: float = HOLD_S) -> tuple[float, float, int]:
    """One position of the stick and the duty it leads to."""
    return us, long_s, round(counts)


def _drops(counts: float) -> Story:
    near = counts_at(share(NEAR_US))
    return sailed([held(NEAR_US, near, START_S), held(FAR_US, near - counts)])


def _less_in_reverse(counts: float) -> Story:
    near, far = counts_at(share(NEAR_US)), counts_at(share(FULL_US))
    back_us = 2.0 * NEUTRAL_US - NEAR_US
    return sailed([held(NEAR_US, near, START_S), held(FULL_US, far)], [held(back_us, near - counts, START_S)])


def _swept(steps: float) -> Story:
    """A sweep of a third of the way that passes `steps` thirds of steps."""
    levels, pulses = round(steps * SWEPT_US / 360.0), round(SWEPT_US / SWEEP_US)
    first = counts_at(share(NEAR_US))
    moves = [held(NEAR_US + SWEEP_US * k, first + levels * k / pulses, FRAME_S) for k in range(1, pulses + 1)]
    return sailed([held(NEAR_US, first, START_S), *moves])


def _full_out(share_of_full: float) -> Story:
    """A second of full stick, with so much of full duty."""
    return sailed([held(1900.0, 255.0 * share_of_full, START_S + HOLD_S)])


CASES = [
    Case("throttle_map.rising", "map_counts", _drops),
    Case("throttle_map.alike", "stick_counts", _less_in_reverse),
    Case("throttle_map.usable_steps", "usable_steps", _swept, minimum=True),
    Case("throttle_map.full", "full_share", _full_out, minimum=True),
]


def _drives_in_the_dead_band() -> Story:
    """Half of the dead band, and the duty that a fifth of the way deserves."""
    counts = counts_at(0.2)
    return sailed([held(NEAR_US, counts, START_S), held(NEUTRAL_US + 20.0, counts)])


def _idle_outside_the_dead_band() -> Story:
    """The stick asks for half a second, and the drive stays armed."""
    story = Story(end_s=1.6)
    story.mark(0.001, Mark.OFF)
    story.mark(0.515, Mark.ARMED)
    story.edge(0.002, Signal.DUTY, 128)
    story.throttle += [(0.6, NEAR_US), (1.1, NEUTRAL_US)]
    return story


PLANTS = [
    # What drives there also goes a way the stick does not ask for, and never comes to rest at neutral.
    Plant(
        "throttle_map.dead_band",
        _drives_in_the_dead_band,
        also=("commutation.direction", "reversal.neutral"),
    ),
    Plant("throttle_map.dead_band", _idle_outside_the_dead_band),
]
