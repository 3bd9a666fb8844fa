"""Full stick with plain code charged by the part's object code.

The shipped firmware is in step: it knows what its code takes. One that forgets it is late, crossings go
unseen, and the steps after them come far too late. Is that the firmware's, or the compiled plant's? The
equations, which share no code with it, are asked; published cases for both stand in tests/plant. Limits are
those of tests/rig/test_two_plants.py.
"""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

from dryspin.cli.charging import charged_subjects
from dryspin.findings import BROKEN, HELD, Subject, load_subject, read_finding
from dryspin.findings.replay import replay_on
from dryspin.monitors import Evidence, Limits
from dryspin.monitors.commutation import angles
from dryspin.plant.equations import EquationPlant
from dryspin.plant.parameters import PlantInput, plant_params
from dryspin.recording import LEGS, Recording, Signal, Vector
from dryspin.rig import Rig
from dryspin.rig.twin import TwinPlant

from ..replays import replay, state_at
from ..small_firmware import BOW_THRUSTER, scenario

pytestmark = pytest.mark.needs_avr

SUPPLY_V, LOAD_FACTOR = 12.6, 1.0
"""As in the findings kept of the forgetful firmware."""

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
FORGETS = BOW_THRUSTER.parent / "forgets_its_own_latency"
FOUND = sorted((FORGETS / "found").glob("*.toml"))


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


@pytest.fixture(scope="module")
def in_step(subject: Subject) -> Recording:
    """The bow thruster's run."""
    return subject.record(FULL_STICK)


@pytest.fixture(scope="module")
def forgetful() -> Subject:
    """The same, but as if its code took no time."""
    return load_subject(FORGETS)


@dataclass(frozen=True)
class Both:
    """One scenario on the twin, and on the equations from shortly before `unseen_s` on."""

    twin: Recording
    equations: Recording
    unseen_s: float


@pytest.fixture(scope="module")
def both(forgetful: Subject) -> Both:
    """In closed loop with the forgetful firmware."""
    rig = Rig(forgetful.image, forgetful.drive)
    twin = rig.run(FULL_STICK)
    unseen_s = unseen_crossings_s(twin)[0]
    given = replace(FULL_STICK, end_s=unseen_s + AFTER_S)
    return Both(twin, rig.run(given, equations_from_s=unseen_s - BEFORE_S), unseen_s)


def test_the_shipped_firmware_is_in_step(in_step: Recording, subject: Subject) -> None:
    """A degree at full stick is 2.4 us, 5 of its 22 ticks of latency; no crossing goes unseen."""
    assert abs(late_deg(in_step, subject)) < 1.0
    assert unseen_crossings_s(in_step) == []


def test_where_code_takes_no_time_its_steps_are_early_by_what_it_takes_off_for_it() -> None:
    """8.5 us, 3.5 degrees of a step of 144 us, less what two legs take one after the other."""
    plain = load_subject(BOW_THRUSTER)
    free = plain.record(FULL_STICK)

    assert -3.5 < late_deg(free, plain) < -2.0
    assert unseen_crossings_s(free) == []


def test_nothing_comes_between_the_looks_of_a_short_step_and_the_next_step(in_step: Recording) -> None:
    """Handlers of the stick and of the clock, 15 us and 6 us, would make the stamp or the step late.

    Steps are shorter than 256 us from 1.3 s on.
    """
    cycles, handlers, _ = in_step.of(Signal.HANDLER)
    begun = handlers[(cycles > 1.3 * 16e6) & (handlers != 0)].tolist()
    after = [now for now, then in zip(begun[1:], begun, strict=False) if then == Vector.COMPARE_B]
    waited = [then for now, then in zip(begun[1:], begun, strict=False) if now == Vector.THROTTLE_EDGE]

    assert len(after) > 500
    assert set(after) == {Vector.COMPARE_B, Vector.COMPARATOR_EDGE}
    assert len(waited) > 5
    assert set(waited) <= {Vector.COMPARE_A, Vector.WRAP}


def test_without_its_latency_steps_are_late_by_what_the_code_takes(both: Both, forgetful: Subject) -> None:
    """Of which it takes 2.5 us off, the time of its port calls: some 9 us are left, 3 degrees here."""
    assert 2.0 < late_deg(both.twin, forgetful) < 6.0


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


def test_both_plants_agree_on_the_gates_of_unseen_crossings(both: Both, forgetful: Subject) -> None:
    """Without the firmware: the same comparator edges within 0.05 us, currents within 0.01 % of peak."""
    from_s, to_s = both.unseen_s - BEFORE_S, both.unseen_s + AFTER_S
    start = state_at(both.twin, from_s)
    params, given = plant_params(forgetful.drive, FULL_STICK), PlantInput(SUPPLY_V, LOAD_FACTOR)
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
def test_what_is_found_in_the_forgetful_firmware_is_not_in_the_shipped_one(
    path: Path, subject: Subject, forgetful: Subject
) -> None:
    """Nothing but what is changed in it breaks the claim."""
    finding = read_finding(path)

    assert replay_on(forgetful, finding).outcome.status == BROKEN
    assert subject.try_out(finding.scenario).of(finding.claim).status == HELD


def test_findings_are_kept() -> None:
    """Or the test above has nothing to look at."""
    claims = {read_finding(path).claim for path in FOUND}

    assert claims == {"commutation.angle", "commutation.false_crossings"}
