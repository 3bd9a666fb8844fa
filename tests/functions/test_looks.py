"""When the open leg is looked at, and how a look decides: blanking, majority, and no look at all."""

from itertools import pairwise

import pytest

from dryspin.recording import Signal, Vector

from .moments import Moments, turning
from .watching import BEGUN, FALLS_BELOW, RISES_ABOVE, SEE_TICKS, STEP, V, looks, watching


@pytest.mark.parametrize("begun", [BEGUN, 65536 - 300, 65536 - 600])
@pytest.mark.parametrize("step", [1600, 2000])
def test_the_leg_is_first_looked_at_after_five_sixteenths_of_the_step(firmware, begun, step):
    """19 of 60 degrees: until then the winding that was opened may hold its current; ticks may wrap."""
    moments = watching(firmware, begun + step / 2, begun=begun, step=step)
    moments.until(begun + step / 2 - 1)

    assert looks(moments)[0] == begun + 5 * step // 16


@pytest.mark.parametrize(("step", "after"), [(512, 160), (511, 127), (400, 100)])
def test_a_short_step_is_first_looked_at_after_a_quarter(firmware, step, after):
    """15 of 60 degrees: another handler of 15 us may come before the look, and the crossing is due at 30."""
    moments = watching(firmware, BEGUN + step / 2, step=step)
    moments.until(BEGUN + step / 2 - 1)

    assert looks(moments)[0] == BEGUN + after


@pytest.mark.parametrize(("step", "after"), [(68, 17), (64, 16), (40, 16), (80, 20)])
def test_the_first_look_of_a_very_short_step_keeps_the_shortest_time(firmware, step, after):
    """A compare value that is behind the count already would match after a whole wrap only."""
    moments = watching(firmware, BEGUN + 5000, step=step, rotor_step=STEP)
    moments.until(BEGUN + 40)

    assert looks(moments)[0] == BEGUN + after


@pytest.mark.parametrize("crossing_after", [-100, 400])
def test_until_the_first_look_the_comparator_interrupts_nobody(firmware, crossing_after):
    """Before the first look edges are those of blanking, whatever the comparator says."""
    moments = watching(firmware, BEGUN + crossing_after)
    moments.until(BEGUN + 5 * STEP // 16 - 1)

    assert moments.entries(Vector.COMPARATOR_EDGE) == []
    assert moments.edges(Signal.SENSE_IRQ) == []


def test_an_edge_left_over_from_blanking_calls_no_handler(firmware):
    """The flag is there when the first look comes, from the change of the phase; the look clears it."""
    moments = watching(firmware, BEGUN + STEP / 2)
    call = firmware.call
    call.port_sense_edge(FALLS_BELOW)
    call.port_sense_edge(RISES_ABOVE)
    moments.until(BEGUN + 10)
    assert call.port_sense_flag() == 1
    moments.until(BEGUN + STEP / 2 - 1)

    assert moments.level(Signal.SENSE_IRQ) == 1
    assert moments.entries(Vector.COMPARATOR_EDGE) == []


@pytest.mark.parametrize(("step", "again"), [(2048, 64), (1000, 31), (544, 17), (528, 16), (400, 16)])
def test_what_is_beyond_too_early_is_looked_at_again_and_again(firmware, step, again):
    """A 32nd of a step after each look, 16 ticks at least: the winding's current may still hide the EMF."""
    moments = watching(firmware, BEGUN - 500, step=step, rotor_step=STEP)
    moments.until(BEGUN + 9 * step // 16 - 1)
    times = looks(moments)
    votes_ticks = {2048: 11, 1000: 7, 544: 7, 528: 7, 400: 3}[step] * 7 / 8

    assert len(times) > 3
    for before, after in pairwise(times):
        assert again + votes_ticks <= after - before <= again + votes_ticks + 3.0
    assert moments.edges(Signal.SENSE_IRQ) == []


def answer(firmware, step, rises, flip_after_cycles) -> tuple[bool, int]:
    """Whether a look finds the leg beyond, its edge coming so many cycles after the call; and its cycles."""
    edge_at = 1000
    firmware.reset(turning(V, rises, edge_at - SEE_TICKS, STEP))
    call, moments = firmware.call, Moments(firmware)
    call.timing_begin(STEP)
    call.crossing_watch(V, RISES_ABOVE if rises else FALLS_BELOW, 0, step)
    call.crossing_past_after(0)
    moments.until(edge_at - flip_after_cycles / 8)
    began = moments.cycle
    call.on_compare_b()
    return call.timing_interval() != STEP, moments.cycle - began


@pytest.mark.parametrize("rises", [False, True])
@pytest.mark.parametrize(("step", "votes"), [(1024, 11), (1023, 7), (512, 7), (511, 3), (80, 3)])
def test_the_majority_of_looks_decides(firmware, step, votes, rises):
    """Eleven while the EMF is small, seven, then three as steps get short: the edge in their middle decides.

    A look costs 3 cycles and the pause after it 4 (drive_port.h); before the first come reading the
    count and clearing the flag, after the last turning the comparator's interrupt on.
    """
    first = 4 + 2 + 3
    middle = first + 7 * (votes // 2)
    around = (middle - 7, middle, middle + 1, middle + 7)
    seen = {cycles: answer(firmware, step, rises, cycles)[0] for cycles in around}

    assert seen == {cycles: cycles <= middle for cycles in seen}
    _, whole = answer(firmware, step, rises, 2000)
    assert whole == 4 + 2 + 7 * votes + 2


def test_what_is_ignored_neither_interrupts_nor_is_looked_at(firmware):
    """Between runs crossings mean nothing; compare B matches at every wrap, and touches no flag."""
    moments = watching(firmware, BEGUN + STEP / 2)
    moments.until(BEGUN + 700)
    firmware.call.port_interrupts_off()
    firmware.call.crossing_ignore()
    firmware.call.port_interrupts_restore(1)
    moments.until(BEGUN + STEP + 65536)

    assert moments.level(Signal.SENSE_IRQ) == 0
    assert len(looks(moments)) == 2
    assert moments.entries(Vector.COMPARATOR_EDGE) == []
    assert [at for at in moments.entries(Vector.COMPARE_A) if at < 65536] == []
    assert firmware.call.port_sense_flag() == 1


def test_a_watch_ignored_before_its_first_look_stays_ignored(firmware):
    """The compare value still matches."""
    moments = watching(firmware, BEGUN + STEP / 2)
    firmware.call.port_interrupts_off()
    firmware.call.crossing_ignore()
    firmware.call.port_interrupts_restore(1)
    moments.until(BEGUN + 2 * STEP)

    assert len(looks(moments)) == 1
    assert moments.edges(Signal.SENSE_IRQ) == []


def test_looks_come_only_once_they_are_turned_on(firmware):
    """By crossing_start(), once, before anything else."""
    firmware.reset(turning(V, True, BEGUN + STEP / 2, STEP))
    moments = Moments(firmware)
    firmware.call.crossing_watch(V, RISES_ABOVE, 0, STEP)
    firmware.call.port_interrupts_restore(1)
    moments.until(2 * STEP)
    assert looks(moments) == []
    firmware.call.crossing_start()
    moments.until(2 * STEP + 100)

    assert len(looks(moments)) >= 1


def test_an_old_match_of_compare_b_is_no_look(firmware):
    """A flag left from the step before would end blanking at once."""
    moments = watching(firmware, BEGUN + 2 * STEP)
    call = firmware.call
    moments.until(BEGUN + 700)
    call.port_interrupts_off()
    call.crossing_ignore()
    call.port_compare_b((BEGUN + 710) % 65536)
    moments.until(BEGUN + 720)
    call.crossing_watch(V, RISES_ABOVE, BEGUN + 720, STEP)
    call.port_interrupts_restore(1)
    moments.until(BEGUN + 720 + STEP)

    assert looks(moments)[1] == BEGUN + 720 + 5 * STEP // 16
