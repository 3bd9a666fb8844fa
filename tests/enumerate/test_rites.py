"""Every sequence of a few kinds of frames: what arms, what must not, and the shortest that does."""

import json
from collections.abc import Sequence

import pytest

from dryspin.cli.command import exit_code
from dryspin.enumerate import KINDS, Enumeration, enumerate_rites, words
from dryspin.enumerate.ledger import AT_POWER_ON, Entitlement
from dryspin.enumerate.pulses import HIGH, NEUTRAL, NONE, scenario_of, width_us
from dryspin.findings import load_subject, read_finding
from dryspin.rig.frames import Frames
from dryspin.scenario import Scenario

from ..small_firmware import BOW_THRUSTER

KNOWN_BAD = BOW_THRUSTER.parent / "known_bad"


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "claim", "shortest"),
    [
        ("aligns_at_power_on", "arming.idle", "no frame"),
        ("arms_with_the_stick_up", "arming.rite", "24 neutral, 1 high"),
    ],
)
def test_the_shortest_counterexample_of_a_seeded_defect_is_found(name, claim, shortest):
    """What a person would write down: the rite but for one frame, and the frame that must not count.

    A third, and the shipped firmware to the full length: tests/long/enumeration.py.
    """
    result = enumerate_rites(load_subject(KNOWN_BAD / name))

    assert result.objection is not None
    assert result.objection.outcome.claim == claim
    assert words(result.objection.kinds) == shortest


def test_frames_led_one_by_one_are_those_of_a_scenario():
    """What is enumerated must be what a run of its own shows: the same words at the same cycles."""
    subject = load_subject(BOW_THRUSTER)
    kinds = [NEUTRAL] * 26 + [NONE] * 7 + [HIGH] * 2
    walked = words_of_a_walk(subject, kinds)
    edges = subject.record(scenario_of(kinds, subject.drive.throttle, 20.0, 4)).edges
    straight = [(int(e["cycle"]), int(e["value"])) for e in edges if e["signal"] == 13]

    assert len(walked) > 6
    assert walked == [word for word in straight if word[0] <= walked[-1][0]]


def words_of_a_walk(subject, kinds: Sequence[str]) -> list[tuple[int, int]]:
    """(cycle, mark) of everything said."""
    frames = Frames(subject.rig, Scenario(0, 2.0, 0.0, 20.0, ((0.0, 0.0),)))
    standing, edges = frames.from_power_on(4)
    seen = [edges]
    for kind in kinds:
        standing, edges = frames.after(standing, width_us(kind, subject.drive.throttle))
        seen.append(edges)
    return [(int(e["cycle"]), int(e["value"])) for part in seen for e in part if e["signal"] == 13]


def test_the_command_tells_the_counterexample_and_keeps_it(tmp_path, capsys):
    """As a finding like any other, to replay."""
    arguments = ["enumerate", str(KNOWN_BAD / "aligns_at_power_on"), "--save", str(tmp_path)]
    code = exit_code([*arguments, "--json", str(tmp_path / "r.json")])
    out = capsys.readouterr().out
    told = json.loads((tmp_path / "r.json").read_text())

    assert code == 1
    assert "counterexample of 0 frames: no frame" in out
    assert f"replay: dryspin replay {tmp_path}/arming-idle-1.toml" in out
    assert read_finding(tmp_path / "arming-idle-1.toml").claim == "arming.idle"
    assert told["counterexample"]["claim"] == "arming.idle"


def test_an_entitlement_grows_by_neutral_frames_and_falls_by_any_other():
    """The rite as the claims have it, before any firmware."""
    rite = Entitlement()
    for _ in range(30):
        rite = rite.after(NEUTRAL, 20, 12.5)
    armed, suspicion = rite.judged(AT_POWER_ON.__class__(True, False, 1, (0, 0, 0)), NEUTRAL, 20)

    assert (rite.run, suspicion) == (20, "")
    assert {kind: rite.after(kind, 20, 12.5).run for kind in KINDS if kind != NEUTRAL} == dict.fromkeys(
        [kind for kind in KINDS if kind != NEUTRAL], 0
    )
    lost = armed
    for _ in range(13):
        lost = lost.after(NONE, 20, 12.5)
    assert lost == Entitlement()


def test_a_result_without_a_sequence_that_arms_is_no_pass():
    """Nothing would have been shown."""
    nothing = Enumeration(20.0, 60, 10, 70, None, 0, 5, 0, 0, None)

    assert not nothing.passed
