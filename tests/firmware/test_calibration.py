"""The bow thruster on the rig: learning the stick's range, keeping it, and the rite due again."""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from dryspin.build import build_image
from dryspin.drive import load_drive
from dryspin.drive.model import Change
from dryspin.recording import Mark, Recording, Reset, Signal
from dryspin.rig import Rig
from dryspin.scenario import Fault, Trace

from .conftest import THRUSTER
from .rite import (
    DOWN,
    LEARNT_S,
    MIDDLE,
    UP,
    calibration,
    driven_at,
    first_s,
    marks,
    said,
    settled_counts,
    story,
    width_at,
)


def test_calibration_marks_each_position_and_that_it_is_stored(learnt: Recording) -> None:
    """On entry and for each position a tone, then the word, then a tone: the captain looks at the water."""
    told = [code for _, code in marks(learnt) if code >= Mark.STORED]

    assert told == [34, 34, 34, 34, Mark.STORED, 35]
    assert first_s(learnt, Mark.CALIBRATING) == pytest.approx(0.065 + 1.0, abs=0.06)
    assert first_s(learnt, Mark.STORED) < LEARNT_S
    assert first_s(learnt, Mark.ARMED) == math.inf


@pytest.mark.parametrize("share", [0.2, 0.5, 0.8, 1.0])
@pytest.mark.parametrize(("full_us", "standard_us"), [(UP, 1900.0), (DOWN, 1100.0)])
def test_after_a_restart_duty_follows_the_learnt_range(
    pack: Rig, learnt: Recording, share: float, full_us: float, standard_us: float
) -> None:
    """The same share of the stick's way is the same duty, whatever the transmitter's range."""
    before = driven_at(pack, width_at(share, 1500.0, standard_us), 1500.0)
    after = driven_at(pack, width_at(share, MIDDLE, full_us), MIDDLE, learnt.store)

    assert before * (full_us - MIDDLE) > 0
    assert after == pytest.approx(before, abs=2)


def test_a_range_just_learnt_needs_the_rite_and_is_obeyed_at_once(pack: Rig) -> None:
    """Nobody should have to switch off and on; and nobody be surprised by a stick that is down."""
    stick = (*calibration(), (2.5, MIDDLE), (2.9, UP))
    run = pack.run(story(4.0, stick))

    assert first_s(run, Mark.ARMED) == pytest.approx(2.5 + 0.25, abs=0.03)
    assert settled_counts(run) >= 250


def test_a_stick_left_up_at_power_on_overwrites_nothing(pack: Rig, learnt: Recording) -> None:
    """Forgetting the stick must not cost the captain his range: after ten seconds all is as it was."""
    run = pack.run(story(12.0, ((0.0, 1900.0),), store=learnt.store.hex()))
    entered_s = first_s(run, Mark.CALIBRATING)

    assert first_s(run, Mark.NOT_STORED) - entered_s == pytest.approx(10.0, abs=0.1)
    assert not np.any(run.of(Signal.STORE)[0] > 0)
    assert run.store == learnt.store
    assert 36 in said(run)


@pytest.mark.parametrize(
    ("positions", "why"),
    [
        ((1720.0, 1560.0, 1210.0), "high is less than 200 us from neutral"),
        ((1720.0, 1500.0, 1320.0), "low is less than 200 us from neutral"),
        ((2190.0, 1480.0, 1100.0), "high is more than 700 us from neutral"),
        ((1900.0, 1100.0, 1500.0), "the order is another"),
    ],
)
def test_positions_that_make_no_range_are_refused(
    pack: Rig, learnt: Recording, positions: tuple[float, float, float], why: str
) -> None:
    """A range without room between dead band and full, or one upside down, cannot be steered by."""
    run = pack.run(story(LEARNT_S + 0.3, calibration(0.0, *positions), store=learnt.store.hex()))

    assert Mark.NOT_STORED in said(run), why
    assert run.store == learnt.store


def test_two_seconds_of_full_stick_are_needed_from_the_first_pulse_on(pack: Rig) -> None:
    """A stick that is up a little late, or comes down a little early, asks for no calibration."""
    late = pack.run(story(2.5, ((0.0, 1600.0), (0.1, 1900.0))))
    early = pack.run(story(2.0, ((0.0, 1900.0), (1.0, 1500.0))))
    broken = pack.run(story(2.5, ((0.0, 1900.0), (0.5, 2300.0), (0.51, 1900.0))))

    assert all(Mark.CALIBRATING not in said(run) for run in (late, early, broken))
    assert first_s(early, Mark.ARMED) == pytest.approx(1.25, abs=0.02)


@pytest.mark.parametrize("fault", ["reset", "supply gap"])
def test_calibration_is_refused_after_an_external_reset_and_a_brown_out(pack: Rig, fault: str) -> None:
    """Full ahead at sea and a supply that gives way for a moment: he wants to run, not to calibrate."""
    # 0.2 s take the bus below the brown-out level, not below what makes the next start a power-on.
    faults = (Fault(fault, 0.1, 0.0 if fault == "reset" else 200.0),)
    run = pack.run(story(3.0, ((0.0, 1900.0),), faults=faults))
    causes = run.of(Signal.RESET)[1].tolist()

    assert causes[1:] == [Reset.EXTERNAL if fault == "reset" else Reset.BROWN_OUT]
    assert Mark.CALIBRATING not in said(run)


def test_a_main_line_that_hangs_is_reset_by_the_watchdog_and_then_needs_the_rite(pack: Rig) -> None:
    """A thruster that no longer listens must not go on; nor may the stick, still up, begin anything."""
    hang = Change(
        "thruster.c",
        "	port_watchdog_feed();\n",
        "	while (port_reset_cause() == PORT_RESET_POWER_ON && now_ticks() > 2000000U) {\n	}\n"
        "	port_watchdog_feed();\n",
    )
    drive = load_drive(THRUSTER / "drive.toml")
    drive = replace(drive, firmware=replace(drive.firmware, change=(hang,)))
    rig = Rig(build_image(drive, THRUSTER), drive)
    stick = ((0.0, 1500.0), (0.5, 1900.0), (2.8, 1500.0))
    run = rig.run(story(3.3, stick))
    (_, reset_s), causes = run.seconds(run.of(Signal.RESET)[0]), run.of(Signal.RESET)[1]

    assert causes[1] == Reset.WATCHDOG
    assert reset_s == pytest.approx(
        0.065 + 1.0 + 0.128, abs=0.02
    )  # hangs at 1 s, bites 16 ms doubled thrice later
    assert Mark.CALIBRATING not in said(run)
    assert first_s(run, Mark.ARMED, reset_s) == pytest.approx(2.8 + 0.25, abs=0.03)


def test_calibration_waits_for_a_rotor_that_the_water_turns(pack: Rig) -> None:
    """Neither is it entered while the rotor turns, nor is the store written to."""
    turning = pack.run(story(2.5, calibration(), speed_rpm=((0.0, 1500.0),)))
    later = pack.run(
        story(12.0, calibration(), speed_rpm=((0.0, 0.0), (1.7, 0.0), (1.75, 1500.0), (12.0, 1500.0)))
    )

    assert Mark.CALIBRATING not in said(turning)
    assert Mark.CALIBRATING in said(later)
    assert Mark.NOT_STORED in said(later)
    assert not np.any(later.of(Signal.STORE)[0] > 0)


def store_writes(recording: Recording) -> list[tuple[float, float]]:
    """From when to when each byte was written, s."""
    cycles, busy, _ = recording.of(Signal.STORE_BUSY)
    moments = recording.seconds(cycles).tolist()
    begins = [t_s for t_s, on in zip(moments, busy, strict=True) if on]
    ends = [t_s for t_s, on in zip(moments, busy, strict=True) if not on and t_s > 0.0]
    return list(zip(begins, ends, strict=True))


def test_a_range_is_written_byte_by_byte_with_legs_open(learnt: Recording) -> None:
    """While a byte is written the CPU goes on, and no FET is on."""
    writes = store_writes(learnt)
    on = np.any(learnt.gates.values != 0, axis=1)

    assert 8 <= len(writes) <= 16
    for begin_s, end_s in writes:
        first, last = learnt.gates.index_at(np.array([learnt.cycle_of(t_s) for t_s in (begin_s, end_s)]))
        assert not np.any(on[first : last + 1])


@pytest.mark.parametrize(
    "phase", [0.02, 0.5, 0.97, *(pytest.param(phase, marks=pytest.mark.slow) for phase in (0.3, 0.7, 0.9))]
)
def test_a_power_cut_while_storing_keeps_the_old_range_or_the_new_one(pack: Rig, phase: float) -> None:
    """Old and new range differ most at one width; what the thruster makes of it is one or the other's."""
    old = pack.run(story(LEARNT_S + 0.6, calibration(0.0, 1950.0, 1500.0, 1050.0))).store
    new_calibration = calibration(0.0, 1760.0, 1500.0, 1240.0)
    whole = pack.run(story(LEARNT_S + 0.6, new_calibration, store=old.hex()))
    telling_us = 1700.0
    as_old = driven_at(pack, telling_us, 1500.0, old)
    as_new = driven_at(pack, telling_us, 1500.0, whole.store)
    seen = []
    for begin_s, end_s in store_writes(whole):
        cut_s = round(begin_s + phase * (end_s - begin_s), 7)
        stick = (*new_calibration, (cut_s, 1500.0), (cut_s + 0.5, telling_us))
        run = pack.run(story(cut_s + 1.7, stick, store=old.hex(), faults=(Fault("power cut", cut_s, 30.0),)))
        seen.append(settled_counts(run))

    assert as_new - as_old > 60
    assert all(min(abs(counts - as_old), abs(counts - as_new)) <= 2 for counts in seen), seen
    assert abs(seen[0] - as_old) <= 2  # before its last byte a record is none
    assert abs(seen[-2] - as_old) <= 2


def test_a_store_full_of_nonsense_leaves_the_standard_range(pack: Rig) -> None:
    """1100, 1500, 1900 us with whatever a store may hold that nobody has written a record to."""
    expected = driven_at(pack, 1700.0, 1500.0)

    for pattern in (b"\x00" * 64, b"\x01" * 64, bytes(range(64)), b"\x01\xff" * 32):
        assert driven_at(pack, 1700.0, 1500.0, pattern) == pytest.approx(expected, abs=2)


@pytest.mark.parametrize("bit", [0, 7, *(pytest.param(bit, marks=pytest.mark.slow) for bit in range(1, 7))])
def test_a_damaged_record_is_never_accepted(pack: Rig, learnt: Recording, bit: int) -> None:
    """With any one bit of any byte turned over, the range is the standard one again."""
    written = [k for k, byte in enumerate(learnt.store[:64]) if byte != 0xFF]
    standard = driven_at(pack, 1650.0, 1500.0)
    as_learnt = driven_at(pack, 1650.0, 1510.0, learnt.store)

    assert abs(as_learnt - standard) > 20
    for k in written:
        store = bytearray(learnt.store)
        store[k] ^= 1 << bit
        assert driven_at(pack, 1650.0, 1500.0, bytes(store)) == pytest.approx(standard, abs=2), k


# ---- tones -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("fault", ["loss", "reset", "power cut", "supply gap"])
def test_whatever_breaks_in_the_full_rite_is_due_again(pack: Rig, fault: str) -> None:
    """With the stick still at full after it nothing turns; neutral for 25 pulses, and it is armed again."""
    faults = () if fault == "loss" else (Fault(fault, 1.5, {"reset": 0.0}.get(fault, 600.0)),)
    lost: Trace = ((1.5, 0.0), (1.8, 1900.0)) if fault == "loss" else ()
    stick = ((0.0, 1500.0), (0.5, 1900.0), *lost, (3.0, 1500.0), (3.6, 1900.0))
    run = pack.run(story(4.5, stick, faults=faults))
    gates = run.gates
    driven = np.any(gates.values != 0, axis=1) & (run.seconds(gates.cycles) > 1.62)
    tones = [(a, b) for a, b in pairwise(marks(run)) if a[1] in (Mark.TONE, *range(32, 64))]
    for (from_s, _), (to_s, _) in tones:
        driven &= ~((run.seconds(gates.cycles) >= from_s) & (run.seconds(gates.cycles) <= to_s))

    assert first_s(run, Mark.RUN) < 1.5
    assert first_s(run, Mark.ARMED, 1.6) == pytest.approx(3.25, abs=0.03)
    assert float(run.seconds(gates.cycles[driven][0])) > 3.6
    assert first_s(run, Mark.RUN, 1.62) < 4.3
