"""Sequences of throttle frames gone through with firmware written for registers."""

import pytest

from dryspin.build import build_image
from dryspin.build.variables import Variables
from dryspin.drive import load_drive
from dryspin.enumerate import enumerate_rites, words
from dryspin.enumerate.pulses import HIGH, NEUTRAL, NONE, scenario_of, width_us
from dryspin.findings import load_subject
from dryspin.recording import Signal
from dryspin.rig import Rig
from dryspin.rig.frames import Frames, variable_part
from dryspin.scenario import Scenario

from .seeded_examples import EXAMPLES

THRUSTER = EXAMPLES / "two_way_interrupts"


@pytest.mark.parametrize("name", ["two_way_interrupts", "polling_sketch"])
def test_frames_led_one_by_one_are_those_of_a_scenario(name: str) -> None:
    """What the firmware says comes at the cycles at which a run of its own says it."""
    drive = load_drive(EXAMPLES / name)
    rig = Rig(build_image(drive, EXAMPLES / name), drive)
    kinds = [NEUTRAL] * 26 + [NONE] * 7 + [HIGH] * 2
    frames = Frames(rig, Scenario(0, 2.0, 0.0, 20.0, ((0.0, 0.0),)))
    standing, edges = frames.from_power_on(4)
    seen = list(edges)
    for kind in kinds:
        standing, edges = frames.after(standing, width_us(kind, drive.throttle))
        seen += list(edges)
    walked = [(int(e["cycle"]), int(e["value"])) for e in seen if e["signal"] == Signal.MARK]
    cycles, values, _ = rig.run(scenario_of(kinds, drive.throttle, 20.0, 4)).of(Signal.MARK)
    straight = list(zip(map(int, cycles), map(int, values), strict=True))

    assert len(walked) >= 2
    assert walked == [word for word in straight if word[0] <= walked[-1][0]]


def test_a_variable_of_a_handler_is_named_by_its_vector() -> None:
    """As drive.toml of the example names the moment that its capture handler keeps."""
    drive = load_drive(THRUSTER)
    variables = Variables(build_image(drive, THRUSTER).path)

    assert variable_part("thruster.cpp:TIMER1_CAPT_vect::rose", variables)[1] == 2
    assert variables.place_of("width").size == 2


@pytest.mark.slow
def test_the_shortest_sequence_that_arms_against_the_rite_is_found() -> None:
    """The thruster counts neutral pulses and a lost signal ends no row: 24, none, and one more arm it."""
    result = enumerate_rites(load_subject(THRUSTER))

    assert result.objection is not None
    assert result.objection.outcome.claim == "arming.rite"
    assert words(result.objection.kinds) == "24 neutral, 12 none, 1 neutral"
