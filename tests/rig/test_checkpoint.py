"""A run frozen and continued is the straight run, bit for bit, however often and in whatever order."""

from dataclasses import replace
from random import Random

import pytest

from dryspin.build import build_image
from dryspin.drive import Drive
from dryspin.errors import RigError
from dryspin.rig import Rig
from dryspin.scenario import Fault, Scenario

from ..small_firmware import BOW_THRUSTER, Bench, scenario

STORY = scenario(
    1.25,
    throttle_us=((0.0, 1500.0), (0.7, 1900.0)),
    supply_v=((0.0, 11.1), (1.0, 11.1), (1.15, 12.0)),
    comparator_noise_mv=((0.0, 0.0), (1.05, 0.0), (1.06, 2.0), (1.1, 0.0)),
)
"""Arming, a start, closed loop from 1.1 s or so; then noise and a supply that moves."""

CALM = replace(STORY, supply_v=(), comparator_noise_mv=())
"""The same without what comes late, which may be cut short."""

ENDINGS: dict[str, Scenario] = {
    "another way": replace(STORY, throttle_us=((0.0, 1500.0), (0.7, 1900.0), (1.0, 1100.0))),
    "another supply": replace(STORY, supply_v=((0.0, 11.1), (1.0, 11.1), (1.01, 9.6))),
    "no noise": replace(STORY, comparator_noise_mv=()),
    "a heavier propeller": replace(STORY, load_factor=((0.0, 1.0), (0.99, 1.0), (1.0, 3.0))),
    "a stream": replace(STORY, water_rpm=((0.0, 0.0), (1.0, 0.0), (1.1, 2000.0))),
    "a reset": replace(STORY, faults=(Fault("reset", 1.01),)),
    "an endless loop": replace(STORY, faults=(Fault("endless loop", 1.0),)),
    "a power cut": replace(STORY, faults=(Fault("power cut", 1.0, 20.0),)),
    "a supply gap": replace(STORY, faults=(Fault("supply gap", 1.0, 20.0),)),
    "a signal lost": replace(STORY, throttle_us=((0.0, 1500.0), (0.7, 1900.0), (0.99, 0.0))),
    "a longer run": replace(STORY, end_s=1.3),
    "a shorter run": replace(CALM, end_s=1.001),
}
"""What differs from the story after 0.98 s, when the rotor is on its ramp."""


@pytest.fixture(scope="module")
def rig(thruster: Drive) -> Rig:
    """The shipped firmware."""
    return Rig(build_image(thruster, BOW_THRUSTER), thruster)


@pytest.fixture(scope="module")
def straight(rig: Rig) -> dict[str, str]:
    """Digests of straight runs of every ending."""
    return {name: rig.run(ending).digest() for name, ending in ENDINGS.items()}


def test_every_continuation_is_the_straight_run_of_its_scenario(rig, straight):
    """One checkpoint, all endings, in order and backwards: nothing of one is left for the next."""
    checkpoint = rig.checkpoint(STORY, 0.98)
    forwards = {name: rig.resume(checkpoint, ending).digest() for name, ending in ENDINGS.items()}
    backwards = {name: rig.resume(checkpoint, ENDINGS[name]).digest() for name in reversed(ENDINGS)}

    assert len(set(straight.values())) == len(ENDINGS)
    assert forwards == straight
    assert backwards == straight


def test_any_instant_will_do(rig):
    """Before main(), in the rite, at the moment of a step, in handlers and between them, near the end."""
    short = replace(CALM, end_s=0.78)
    whole = rig.run(short)
    instants_s = [0.0, 0.01, 0.065, 0.7, 0.779]
    instants_s += [Random(seed).uniform(0.0, 0.77) for seed in range(12)]
    for at_s in instants_s:
        checkpoint = rig.checkpoint(short, at_s)
        assert checkpoint.at_s >= at_s
        assert rig.resume(checkpoint).digest() == whole.digest()


def test_a_checkpoint_of_a_continuation(rig):
    """A chain of them, as a search tree needs it."""
    short = replace(CALM, end_s=0.78)
    first = rig.checkpoint(short, 0.3)
    second = rig.checkpoint(short, 0.71, after=first)

    assert rig.resume(second).digest() == rig.run(short).digest()


def test_another_drive_on_the_rig_meanwhile_changes_nothing(rig):
    """The circuits that the plant keeps follow its parameters, and are worked out again."""
    short = replace(CALM, end_s=1.0)
    checkpoint = rig.checkpoint(short, 0.95)
    rig.run(replace(short, parts={"r_phase": 1.2, "c_bus": 0.9}, end_s=0.98))

    assert rig.resume(checkpoint).digest() == rig.run(short).digest()


def test_time_of_plain_code_goes_on_where_it_stood(bench: Bench):
    """With a cost per block, a checkpoint falls into the middle of a computation."""
    rig = bench.rig(
        """
        #include "say.h"
        static volatile uint16_t sum;
        int main(void)
        {
            for (uint16_t k = 1; ; k++) {
                sum += k;
                if (k % 1000 == 0)
                    say(sum);
            }
        }
        """
    )
    whole = rig.run(scenario(0.08), block_cycles=3)
    checkpoint = rig.checkpoint(scenario(0.08), 0.071234, block_cycles=3)

    assert checkpoint.at_s == pytest.approx(0.071234, abs=1e-6)
    assert rig.resume(checkpoint).digest() == whole.digest()


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"rest_deg": 211.0}, "rest_deg is another"),
        ({"parts": {"kv": 1.05}}, "parts is another"),
        ({"throttle_us": ((0.0, 1500.0), (0.69, 1900.0))}, "throttle pulses come at other moments"),
        ({"supply_v": ((0.0, 11.1), (1.0, 11.2))}, "supply_v is another"),
        ({"load_factor": ((0.0, 1.01),)}, "load_factor is another"),
        ({"speed_rpm": ((0.0, 0.0),)}, "speed_rpm is another"),
        ({"faults": (Fault("reset", 0.5),)}, "resets come at other moments"),
        ({"faults": (Fault("supply gap", 0.5, 10.0),)}, "the supply fails at other moments"),
        ({"end_s": 0.98}, "it ends before"),
    ],
)
def test_a_scenario_that_began_otherwise_is_refused(rig, warm, change, word):
    """Its continuation would be no run of it."""
    with pytest.raises(RigError, match=f"cannot go on from the checkpoint at .* s: {word}"):
        rig.resume(warm, replace(CALM, **change))


@pytest.fixture(scope="module")
def warm(rig: Rig):
    """A checkpoint of the story."""
    return rig.checkpoint(STORY, 0.98)


def test_a_checkpoint_after_the_end_is_refused(rig):
    """With the end, and what to do."""
    with pytest.raises(RigError, match=r"ends at 0\.1 s, before code runs after 0\.2 s; take the checkpoint"):
        rig.checkpoint(scenario(0.1), 0.2)


def test_a_checkpoint_of_another_build_is_refused(rig, warm, bench: Bench):
    """Its memory would be nonsense there."""
    other = bench.rig('#include "say.h"\nint main(void) { SLEEP_FOREVER }')

    with pytest.raises(RigError, match="the checkpoint is of another build"):
        other.resume(warm)
