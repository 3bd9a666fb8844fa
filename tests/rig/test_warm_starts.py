"""Runs that share their beginnings are the straight runs, bit for bit, whatever was run before them."""

from collections.abc import Callable
from dataclasses import replace
from random import Random

import pytest

from dryspin.build import build_image
from dryspin.drive import Drive
from dryspin.errors import RigError
from dryspin.rig import Rig, WarmStarts
from dryspin.scenario import Fault, Scenario

from ..small_firmware import BOW_THRUSTER, Bench, scenario

SHARED_S = 0.95

STORY = scenario(1.1, throttle_us=((0.0, 1500.0), (0.7, 1900.0), (1.0, 1100.0)))
"""A start, and the other way while the rotor is on its ramp."""

ENDINGS = (
    STORY,
    replace(STORY, throttle_us=((0.0, 1500.0), (0.7, 1900.0), (1.0, 1200.0))),
    replace(STORY, throttle_us=((0.0, 1500.0), (0.7, 1900.0), (0.98, 0.0))),
    replace(STORY, load_factor=((0.0, 1.0), (0.97, 1.0), (0.99, 50.0))),
    replace(STORY, supply_v=((0.0, 11.1), (1.0, 11.1), (1.05, 12.0))),
    replace(STORY, seed=7, comparator_noise_mv=((0.0, 0.0), (1.0, 0.0), (1.01, 3.0))),
    replace(STORY, seed=8, comparator_noise_mv=((0.0, 0.0), (1.0, 0.0), (1.01, 3.0))),
    replace(STORY, faults=(Fault("reset", 1.02),)),
    replace(STORY, faults=(Fault("power cut", 1.02, 5.0),)),
    replace(STORY, end_s=1.04),
)
"""All alike up to SHARED_S."""

OTHERS = (replace(STORY, rest_deg=33.0), replace(STORY, parts={"r_phase": 1.1}))
"""Not alike, but worth a checkpoint of their own."""


@pytest.fixture(scope="module")
def rig(thruster: Drive) -> Rig:
    """The shipped firmware."""
    return Rig(build_image(thruster, BOW_THRUSTER), thruster)


@pytest.fixture(scope="module")
def straight(rig: Rig) -> Callable[[Scenario], str]:
    """Digests of straight runs, each run once."""
    known: dict[str, str] = {}

    def digest(given: Scenario) -> str:
        key = given.to_toml()
        if key not in known:
            known[key] = rig.run(given).digest()
        return known[key]

    return digest


@pytest.mark.parametrize("order", range(3))
def test_in_any_order_each_is_its_straight_run(rig, straight, order):
    """The first of those alike runs from power-on, whichever it is; a seed counts only once noise comes."""
    mixed = [*ENDINGS, *OTHERS]
    Random(order).shuffle(mixed)
    starts = WarmStarts(rig)
    for given in mixed:
        assert starts.run(given, SHARED_S).digest() == straight(given)

    assert len({straight(given) for given in mixed}) == len(mixed)
    assert (starts.straight, starts.continued) == (3, len(ENDINGS) - 1)


def test_only_so_many_are_kept_those_used_last(rig):
    """A search of days must not fill the memory with beginnings that nobody comes back to."""
    starts = WarmStarts(rig, kept=2)
    first, second, third = (scenario(0.8, rest_deg=deg) for deg in (10.0, 20.0, 30.0))
    for given in (first, second, first, third):
        starts.run(given, 0.5)
    assert starts.continued == 1
    for given in (first, third):
        starts.run(given, 0.5)
    assert starts.continued == 3
    starts.run(second, 0.5)

    assert (starts.straight, starts.continued) == (4, 3)


def test_a_run_on_the_same_rig_in_between_changes_nothing(rig, straight):
    """Shortening and rehearsing use the rig as well."""
    starts = WarmStarts(rig)
    starts.run(ENDINGS[0], SHARED_S)
    rig.run(scenario(0.2, parts={"r_phase": 1.2}))

    assert starts.run(ENDINGS[1], SHARED_S).digest() == straight(ENDINGS[1])
    assert starts.continued == 1


def test_chance_that_had_a_part_in_the_beginning_makes_it_another(rig, straight):
    """With noise before the moment they part, or a restart that may have torn a store, the seed counts."""
    noisy = ((0.0, 0.0), (0.8, 0.0), (0.81, 2.0), (0.85, 0.0))
    for early in ({"comparator_noise_mv": noisy}, {"faults": (Fault("power cut", 0.3, 5.0),)}):
        starts = WarmStarts(rig)
        for seed in (1, 2, 1):
            given = replace(STORY, seed=seed, **early)
            assert starts.run(given, SHARED_S).digest() == straight(given)
        assert (starts.straight, starts.continued) == (2, 1)


def test_one_that_ends_before_code_runs_again_leaves_no_checkpoint(bench: Bench):
    """Firmware that sleeps for good: nothing to go on from, and no error either."""
    rig = bench.rig('#include "say.h"\nint main(void) { SLEEP_FOREVER }')
    starts = WarmStarts(rig)
    given = scenario(0.2, throttle_us=((0.0, 0.0),))
    digests = {starts.run(given, 0.1999999).digest() for _ in range(2)}

    assert digests == {rig.run(given).digest()}
    assert (starts.straight, starts.continued) == (2, 0)


def test_a_crash_in_a_continuation_is_that_of_the_straight_run(bench: Bench):
    """With its line and its moment; and the next one goes on from the same place."""
    rig = bench.rig(
        """
        #include "say.h"
        int main(void)
        {
            if (port_reset_cause() != PORT_RESET_POWER_ON)
                __builtin_trap();
            SLEEP_FOREVER
        }
        """
    )
    calm = scenario(0.5)
    crashing = replace(calm, faults=(Fault("reset", 0.3),))
    starts = WarmStarts(rig)
    starts.run(calm, 0.2)
    with pytest.raises(RigError) as straight:
        rig.run(crashing)
    with pytest.raises(RigError) as continued:
        starts.run(crashing, 0.2)

    assert str(continued.value) == str(straight.value)
    assert starts.run(calm, 0.2).digest() == rig.run(calm).digest()
    assert starts.continued == 2
