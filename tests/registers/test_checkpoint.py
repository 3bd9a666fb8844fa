"""A run of firmware written for registers, frozen and continued, is the straight run, bit for bit."""

from dataclasses import replace
from random import Random

import pytest

from dryspin.build import build_image
from dryspin.drive import load_drive
from dryspin.rig import Rig
from dryspin.scenario import Fault, Scenario

from .seeded_examples import EXAMPLES, RACES, SKETCH, TORN_SKETCH


def story_of(rig: Rig) -> Scenario:
    """The rite, then half a stick: 1.6 s."""
    return TORN_SKETCH.scenario if rig.image.sources == (SKETCH,) else RACES.scenario


@pytest.fixture(scope="module", params=["polling_sketch", "two_way_interrupts"])
def rig(request: pytest.FixtureRequest) -> Rig:
    """Each of the two examples."""
    folder = EXAMPLES / request.param
    drive = load_drive(folder)
    return Rig(build_image(drive, folder), drive)


def test_any_instant_of_register_firmware_will_do(rig: Rig) -> None:
    """Before main(), in the rite, in handlers and delays, under way: timers, pins, a write on its way."""
    story = story_of(rig)
    whole = rig.run(story).digest()
    instants_s = [0.0, 0.065, *(Random(seed).uniform(0.0, story.end_s - 0.1) for seed in range(5))]

    assert {rig.resume(rig.checkpoint(story, at_s)).digest() for at_s in instants_s} == {whole}


def test_continuations_of_register_firmware_are_the_straight_runs_of_their_scenarios(rig: Rig) -> None:
    """One checkpoint on the ramp, several endings, in order and backwards: nothing is left for the next."""
    story = story_of(rig)
    endings = {
        "itself": story,
        "a reset": replace(story, faults=(Fault("reset", 1.41),)),
        "a power cut": replace(story, faults=(Fault("power cut", 1.4, 20.0),)),
        "a signal lost": replace(story, throttle_us=(*story.throttle_us, (1.4, 0.0))),
    }
    checkpoint = rig.checkpoint(story, 1.38)
    straight = {name: rig.run(ending).digest() for name, ending in endings.items()}
    forwards = {name: rig.resume(checkpoint, ending).digest() for name, ending in endings.items()}
    backwards = {name: rig.resume(checkpoint, endings[name]).digest() for name in reversed(endings)}

    assert len(set(straight.values())) == len(endings)
    assert forwards == straight
    assert backwards == straight
