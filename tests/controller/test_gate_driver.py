"""Complementary chopping: a gate driver with one input and one enable for each leg.

The driver turns a FET off at once and the other on by its dead time later: common practice of
half-bridge drivers with built-in dead time, no source. Carrier: test_carriers.py.
"""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from dryspin.rig import Rig
from dryspin.rig.settings import driver_dead_cycles
from dryspin.scenario import Fault

from ..small_firmware import Bench, Told, scenario
from .test_carriers import PERIOD, carrier_began, chop, gate

TURNING = ((0.0, 2000.0),)

DEAD = 8
"""500 ns at 16 MHz."""


@pytest.fixture
def driven(bench: Bench) -> Bench:
    """The bench with such drivers."""
    bench.drive = replace(bench.drive, bridge=replace(bench.drive.bridge, chopping="complementary"))
    return bench


@pytest.mark.parametrize("duty", [5, 100, 250])
def test_the_low_fet_is_on_where_the_high_one_is_not(driven: Bench, duty: int) -> None:
    """Each is on for its share of the period less the dead time, off for the dead time in between."""
    edges = gate(driven.run(chop(str(duty))))[4:]
    lengths = {(value, late - early) for (early, value), (late, _) in pairwise(edges)}

    assert lengths == {(1, 2 * duty - DEAD), (2, PERIOD - 2 * duty - DEAD), (0, DEAD)}


@pytest.mark.parametrize("duty", [1, 4])
def test_a_pulse_no_longer_than_the_dead_time_turns_nothing_on(driven: Bench, duty: int) -> None:
    """The input is back before the high FET's turn has come; the low one still waits its time again."""
    edges = gate(driven.run(chop(str(duty))))[2:]

    assert {value for _, value in edges} == {0, 2}
    assert {late - early for (early, value), (late, _) in pairwise(edges) if value == 0} == {2 * duty + DEAD}


def test_duty_0_keeps_the_low_fet_on_and_255_the_high_one(driven: Bench) -> None:
    """The input stands still."""
    low, high = driven.run(chop("0")), driven.run(chop("255"))
    began = carrier_began(high)

    assert [value for _, value in gate(low)] == [2]
    # Until the carrier starts the input is low.
    assert gate(high)[1:] == [(began, 0), (began + DEAD, 1)]


def test_commands_wait_for_the_dead_time_too(driven: Bench) -> None:
    """Off at once, on later, whichever way the leg is changed; the firmware need not wait."""
    recording = driven.run(
        chop(
            "100",
            legs="",
            then="""
                port_mark(21); port_leg(PORT_U, PORT_HIGH); wait(20);
                port_mark(22); port_leg(PORT_U, PORT_LOW); wait(20);
                port_mark(23); port_leg(PORT_U, PORT_OPEN); wait(20);
                port_mark(24); port_all_open();
            """,
        )
    )
    told = Told(recording)
    at = [told.cycle_of(mark) + 6 for mark in (21, 22, 23)]

    expected = [(at[0] + DEAD, 1), (at[1], 0), (at[1] + DEAD, 2), (at[2], 0)]
    assert gate(recording) == expected


def test_a_reset_opens_all_legs_at_once(driven: Bench) -> None:
    """Inputs and enables have pull-downs: nothing waits."""
    image = driven.image(chop("100", legs="UV", then="port_leg(PORT_W, PORT_LOW);"))
    reset_s = 0.0675
    recording = Rig(image, driven.drive).run(scenario(0.0676, faults=(Fault("reset", reset_s),)))
    gates = recording.gates
    after = gates.values[gates.cycles >= round(reset_s * 16e6)]

    assert np.any(gates.values[gates.cycles < round(reset_s * 16e6)])
    assert len(after)
    assert not after.any()


def test_no_leg_ever_has_both_fets_on(driven: Bench) -> None:
    """While commands, duty and carrier change against each other at every distance."""
    steps = "".join(
        f"port_leg(PORT_U, {state}); port_duty({duty}); for (uint8_t k = 0; k < {marks}; k++) port_mark(30);"
        for marks, (state, duty) in enumerate(
            [("PORT_CHOPPED", 3), ("PORT_LOW", 200), ("PORT_CHOPPED", 128), ("PORT_HIGH", 128)] * 20
        )
    )
    edges = gate(driven.run(chop("100", then=steps)))
    on = [(cycle, value) for cycle, value in edges if value]

    assert {value for _, value in edges} == {0, 1, 2}
    assert len(on) > 100
    for (early, value), (late, then) in pairwise(edges):
        assert then == 0 or value == 0, "a FET goes on only after both were off"
        assert then == 0 or late - early >= DEAD


@pytest.mark.parametrize(("dead_time_ns", "cycles"), [(500.0, 8), (501.0, 9), (62.5, 1), (10.0, 1)])
def test_dead_time_is_rounded_up_to_cycles(driven: Bench, dead_time_ns: float, cycles: int) -> None:
    """Never shorter than stated."""
    drive = replace(driven.drive, bridge=replace(driven.drive.bridge, dead_time_ns=dead_time_ns))

    assert driver_dead_cycles(drive, 16e6) == cycles


def test_an_input_for_each_fet_has_no_driver_in_between(bench: Bench) -> None:
    """The shipped board: dead time is the firmware's."""
    assert driver_dead_cycles(bench.drive, 16e6) == 0


def test_current_reverses_through_the_low_fet(driven: Bench) -> None:
    """What tells it from one-sided chopping. At duty 0 beside a low leg a turning rotor drives current
    both ways through two low FETs; through U's body diode it can only flow into the winding."""
    text = chop("0", legs="U", then="port_leg(PORT_V, PORT_LOW);")
    high_side = replace(driven.drive, bridge=replace(driven.drive.bridge, chopping="high side"))
    complementary = driven.run(text, 0.075, speed_rpm=TURNING).states["i_u_a"]
    one_sided = (
        Bench(driven.folder.parent / "one", high_side).run(text, 0.075, speed_rpm=TURNING).states["i_u_a"]
    )

    assert complementary.min() < -5.0
    assert complementary.max() > 5.0
    assert one_sided.min() > -1e-3
    assert one_sided.max() > 2.0
