"""The shipped firmware at full stick with its plain code charged by the part's object code.

Its steps are late by what the code takes, crossings go unseen, and the steps after them come far too late. Is
that the firmware's, or the compiled plant's? The equations, which share no code with it, are asked; published
cases for both stand in tests/plant. Limits are those of tests/rig/test_two_plants.py.
"""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

from dryspin.cli.charging import charged_subjects
from dryspin.findings import BROKEN, Subject, load_subject, read_finding
from dryspin.findings.replay import replay_on
from dryspin.monitors import Evidence, Limits
from dryspin.monitors.commutation import angles
from dryspin.plant.equations import EquationPlant
from dryspin.plant.parameters import PlantInput, plant_params
from dryspin.recording import LEGS, Recording, Signal
from dryspin.rig import Rig
from dryspin.rig.twin import TwinPlant

from ..replays import replay, state_at
from ..small_firmware import BOW_THRUSTER, scenario

pytestmark = pytest.mark.needs_avr

SUPPLY_V, LOAD_FACTOR = 12.6, 1.5
"""The most current, which lasts longest in the leg that a step opens."""

FULL_STICK = scenario(
    1.45,
    rest_deg=0.0,
    throttle_us=((0.0, 1500.0), (0.6, 1900.0)),
    supply_v=((0.0, SUPPLY_V),),
    load_factor=((0.0, LOAD_FACTOR),),
)

BEFORE_S, AFTER_S = 0.005, 0.01
"""Around the first crossing that goes unseen."""

CHARGED = BOW_THRUSTER / "drive_object_code.toml"
FOUND = sorted(
    path
    for path in (Path(__file__).parents[2] / "traces" / "found").glob("*.toml")
    if read_finding(path).drive.name == CHARGED.name
)


def unseen_crossings_s(recording: Recording) -> list[float]:
    """Moments at which the running firmware takes a crossing for past that it has not seen."""
    text = (BOW_THRUSTER / "commutation.c").read_text(encoding="utf-8")
    at = text.index("port_mark", text.index("step_after_past(uint16_t at_ticks)\n{"))
    line = f"commutation.c:{text.count(chr(10), 0, at) + 1}"
    cycles, _, rows = recording.of(Signal.MARK)
    return [
        float(recording.seconds(c)) for c, r in zip(cycles, rows, strict=True) if recording.line_of(r) == line
    ]


def late_deg(recording: Recording, subject: Subject) -> float:
    """Median lateness of the commutations once full speed is near, electrical degrees."""
    seen = angles(Evidence(recording, Limits(recording.drive, subject.claims)))
    return float(np.median(seen.late_deg[seen.times > 1.2]))


@pytest.fixture(scope="module")
def subject() -> Subject:
    """The bow thruster, charged."""
    return load_subject(BOW_THRUSTER, CHARGED)


@dataclass(frozen=True)
class Both:
    """One scenario on the twin, and on the equations from shortly before `unseen_s` on."""

    twin: Recording
    equations: Recording
    unseen_s: float


@pytest.fixture(scope="module")
def both(subject: Subject) -> Both:
    """In closed loop with the firmware."""
    rig = Rig(subject.image, subject.drive)
    twin = rig.run(FULL_STICK)
    unseen_s = unseen_crossings_s(twin)[0]
    given = replace(FULL_STICK, end_s=unseen_s + AFTER_S)
    return Both(twin, rig.run(given, equations_from_s=unseen_s - BEFORE_S), unseen_s)


def test_steps_are_late_by_what_the_code_takes(both: Both, subject: Subject) -> None:
    """Of which the firmware takes 2.5 us off, the time of its port calls: some 9 us are left, 3 degrees here.

    With code that takes no time the same scenario is on time, and no crossing goes unseen.
    """
    plain = load_subject(BOW_THRUSTER)
    free = plain.record(FULL_STICK)

    assert abs(late_deg(free, plain)) < 1.0
    assert unseen_crossings_s(free) == []
    assert 2.0 < late_deg(both.twin, subject) < 6.0


def test_the_equations_hide_the_same_crossings(both: Both) -> None:
    """In closed loop, several in turn: commands, comparator and marks the same, within a tick of 0.5 us."""
    from_s, to_s = both.unseen_s - BEFORE_S, both.unseen_s + AFTER_S
    unseen_s, unseen_e_s = (
        [each for each in unseen_crossings_s(seen) if each < to_s] for seen in (both.twin, both.equations)
    )

    assert unseen_s == pytest.approx(unseen_e_s, abs=0.5e-6)
    assert len(unseen_s) > 1
    for signal in (*LEGS, Signal.COMPARATOR, Signal.MARK):
        cycles, values, _ = both.twin.of(signal)
        cycles_e, values_e, _ = both.equations.of(signal)
        compared = cycles < to_s * 16e6
        assert (cycles[compared] > from_s * 16e6).sum() > 20
        assert values[compared].tolist() == values_e.tolist()
        assert np.abs(cycles[compared] - cycles_e).max() <= 8


def test_both_plants_agree_on_the_gates_of_unseen_crossings(both: Both, subject: Subject) -> None:
    """Without the firmware: the same comparator edges within 0.05 us, currents within 0.01 % of peak."""
    from_s, to_s = both.unseen_s - BEFORE_S, both.unseen_s + AFTER_S
    start = state_at(both.twin, from_s)
    params, given = plant_params(subject.drive, FULL_STICK), PlantInput(SUPPLY_V, LOAD_FACTOR)
    twin = replay(TwinPlant(params, start), both.twin, start.t_s, to_s, given)
    equations = replay(EquationPlant(params, start), both.twin, start.t_s, to_s, given)
    apart_s = [abs(a - b) for (a, _), (b, _) in zip(twin.comparator, equations.comparator, strict=True)]
    currents, currents_e = (np.array([(s.i_u_a, s.i_v_a) for s in seen.states]) for seen in (twin, equations))

    assert [level for _, level in twin.comparator] == [level for _, level in equations.comparator]
    assert len(apart_s) > 100
    assert max(apart_s) < 0.05e-6
    assert np.sqrt(np.mean((currents - currents_e) ** 2)) < 1e-4 * np.abs(currents).max()


def test_a_check_with_factors_charges_what_the_drive_file_charges(subject: Subject) -> None:
    """The same build, blocks as the source has them; an optimised one takes cycles at other moments."""
    charged = charged_subjects(load_subject(BOW_THRUSTER), (1.0, 2.0))

    assert {each.image.digest for each in charged.values()} == {subject.image.digest}
    assert charged[1.0].drive.controller == subject.drive.controller


@pytest.mark.parametrize("path", FOUND, ids=lambda path: path.stem)
def test_the_findings_kept_are_still_there(path: Path, subject: Subject) -> None:
    """A finding that goes away is the rig's change, or the firmware is mended: then it goes, too."""
    assert replay_on(subject, read_finding(path)).outcome.status == BROKEN


def test_findings_are_kept() -> None:
    """Or the test above has nothing to look at."""
    assert len(FOUND) == 3
