"""When the open leg's EMF is looked at, and what is taken for its crossing.

The rotor is driven and no leg is: the comparator shows the EMF alone, and its edges in the recording
are the truth. A crossing that is taken shows in what commutation makes of it: a step is asked for half
an interval later, less the latency; one that came too early to be seen shortens the interval.
"""

import pytest

from dryspin.recording import Signal, Vector

from .moments import Moments, turning

U, V, W = 0, 1, 2
FALLS_BELOW, RISES_ABOVE = 0, 1
STEP = 2000
"""Ticks of a step: 1 ms."""
BEGUN = 1000
"""Tick at which the step begins."""
LATENCY = 5
SHORTEST = 16
"""settings.h: ticks from a look to the next, at least."""
SEE_TICKS = 1.25
"""0.5 us of comparator and 2 cycles of synchroniser."""


def watching(firmware, crossing_at, *, leg=V, rises=True, step=STEP, begun=BEGUN, rotor_step=None) -> Moments:
    """A watch begun at tick `begun` for a crossing of the rotor's at `crossing_at`; interrupts on."""
    firmware.reset(turning(leg, rises, crossing_at, rotor_step or step))
    call, moments = firmware.call, Moments(firmware)
    call.crossing_start()
    call.port_compare_a_interrupt(1)
    call.timing_begin(step)
    moments.until(begun)
    call.crossing_watch(leg, RISES_ABOVE if rises else FALLS_BELOW, begun % 65536, step)
    call.port_interrupts_restore(1)
    return moments


def looks(moments: Moments) -> list[float]:
    """Ticks of the looks that compare B begins."""
    return moments.entries(Vector.COMPARE_B)


def taken_at(moments: Moments, step=STEP) -> list[float]:
    """Ticks of the crossings that were seen, from the steps asked for."""
    return [tick - step // 2 + LATENCY for tick in moments.entries(Vector.COMPARE_A)]


@pytest.mark.parametrize("begun", [BEGUN, 65536 - 300, 65536 - 600])
@pytest.mark.parametrize("step", [1600, 2000])
def test_the_leg_is_first_looked_at_after_five_sixteenths_of_the_step(firmware, begun, step):
    """19 of 60 degrees: until then the winding that was opened may hold its current; ticks may wrap."""
    moments = watching(firmware, begun + step / 2, begun=begun, step=step)
    moments.until(begun + step / 2 - 1)

    assert looks(moments)[0] == begun + 5 * step // 16


@pytest.mark.parametrize(("step", "after"), [(52, 16), (51, 16), (40, 16), (64, 20)])
def test_the_first_look_of_a_very_short_step_keeps_the_shortest_time(firmware, step, after):
    """A compare value that is behind the count already would match after a whole wrap only."""
    moments = watching(firmware, BEGUN + 5000, step=step, rotor_step=STEP)
    moments.until(BEGUN + 40)

    assert looks(moments)[0] == BEGUN + after


@pytest.mark.parametrize("rises", [False, True])
@pytest.mark.parametrize("leg", [U, V, W])
def test_the_crossing_of_the_named_leg_and_edge_is_taken_when_it_comes(firmware, leg, rises):
    """Seen before it at the first look, then at the comparator's edge; the stamp is entry and reading later."""
    moments = watching(firmware, BEGUN + STEP / 2, leg=leg, rises=rises)
    moments.until(BEGUN + 2 * STEP)
    (edge,) = (at for at, _ in moments.edges(Signal.COMPARATOR) if at > BEGUN + SEE_TICKS + 2)

    assert moments.level(Signal.SENSE_LEG) == leg
    assert edge == BEGUN + STEP / 2 + SEE_TICKS
    assert moments.entries(Vector.COMPARATOR_EDGE) == [edge]
    assert taken_at(moments)[0] == pytest.approx(edge + 1.0, abs=0.5)


def test_once_taken_nothing_is_watched_any_more(firmware):
    """The next edges of that leg, 180 degrees further, belong to other steps."""
    moments = watching(firmware, BEGUN + STEP / 2)
    moments.until(BEGUN + 9 * STEP)

    assert len(moments.edges(Signal.COMPARATOR)) > 2
    assert len(looks(moments)) == 1
    assert len(moments.entries(Vector.COMPARATOR_EDGE)) == 1
    assert moments.level(Signal.SENSE_IRQ) == 0


@pytest.mark.parametrize("crossing_after", [-100, 400])
def test_a_step_is_long_over_before_the_comparator_may_interrupt_on_its_own(firmware, crossing_after):
    """Before the first look edges are those of blanking: the interrupt is off, whatever the comparator says."""
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
    for before, after in zip(times, times[1:], strict=False):
        assert again + votes_ticks <= after - before <= again + votes_ticks + 3.0
    assert moments.edges(Signal.SENSE_IRQ) == []


def test_blanking_that_ends_late_leaves_the_crossing_to_be_seen(firmware):
    """Beyond at the first looks, as a current shows it, then before, then the true crossing."""
    fell_at = BEGUN + 5 * STEP // 16 + 100
    moments = watching(firmware, fell_at, rises=False, rotor_step=300)
    # a rotor that is fast shows both edges: falling first, as if blanking ended, rising half a turn later
    firmware.call.port_interrupts_off()
    firmware.call.crossing_watch(V, RISES_ABOVE, BEGUN, STEP)
    firmware.call.port_interrupts_restore(1)
    moments.until(BEGUN + 2 * STEP)
    rising = [at for at, level in moments.edges(Signal.COMPARATOR) if level == 1 and at > fell_at]

    assert len(looks(moments)) > 1
    assert looks(moments)[0] < fell_at < looks(moments)[-1] < rising[0]
    assert moments.entries(Vector.COMPARATOR_EDGE)[0] == rising[0]
    assert taken_at(moments)[0] == pytest.approx(rising[0] + 1.0, abs=0.5)


def interval_after_a_look(firmware, ticks, *, past_after=None, begun=BEGUN) -> int:
    """The interval after a leg long beyond is looked at `ticks` after the step began."""
    firmware.reset(turning(V, True, begun - 500, STEP))
    call, moments = firmware.call, Moments(firmware)
    call.timing_begin(STEP)
    moments.until(begun - 10)
    call.crossing_watch(V, RISES_ABOVE, begun % 65536, STEP)
    if past_after is not None:
        call.crossing_past_after(past_after)
    moments.until(begun + ticks - 0.5)  # reading the count takes half a tick
    call.on_compare_b()
    return call.timing_interval()


@pytest.mark.parametrize("begun", [BEGUN, 65536 - 600])
def test_what_is_beyond_ever_since_is_past_after_nine_sixteenths(firmware, begun):
    """Just after the crossing is due it cannot be blanking any more; to the tick, and across a wrap."""
    unchanged = STEP

    assert interval_after_a_look(firmware, 9 * STEP // 16 - 1, begun=begun) == unchanged
    assert interval_after_a_look(firmware, 9 * STEP // 16, begun=begun) < unchanged


@pytest.mark.parametrize("past_after", [700, 1, 14000])
def test_another_moment_may_be_named_after_which_it_is_past(firmware, past_after):
    """Earlier for a rotor that is not caught yet, later where the first crossing may be a turn away."""
    assert interval_after_a_look(firmware, past_after - 1, past_after=past_after) == STEP
    assert interval_after_a_look(firmware, past_after, past_after=past_after) < STEP


def test_the_next_watch_is_late_after_nine_sixteenths_again(firmware):
    """The other moment holds for one step."""
    firmware.reset(turning(V, True, BEGUN - 500, STEP))
    call, moments = firmware.call, Moments(firmware)
    call.timing_begin(STEP)
    call.crossing_watch(V, RISES_ABOVE, 0, STEP)
    call.crossing_past_after(5)
    moments.until(BEGUN)
    call.crossing_watch(V, RISES_ABOVE, BEGUN, STEP)
    moments.until(BEGUN + 800)
    call.on_compare_b()

    assert call.timing_interval() == STEP


def test_what_was_seen_before_its_crossing_once_is_seen_and_not_past(firmware):
    """The look after finds it beyond, however late: its moment is known to a look."""
    crossing = BEGUN + STEP / 2
    moments = watching(firmware, crossing)
    moments.until(crossing - 100)
    # as if noise had kept the edge from the handler
    firmware.call.port_sense_interrupt(0)
    moments.until(BEGUN + 3 * STEP // 4)
    firmware.call.port_interrupts_off()
    firmware.call.on_compare_b()
    firmware.call.port_interrupts_restore(1)
    moments.until(BEGUN + 3 * STEP)

    assert firmware.call.timing_interval() == STEP
    assert taken_at(moments)[0] == pytest.approx(BEGUN + 3 * STEP // 4 + 1.0, abs=1.0)


def test_having_been_before_in_one_step_says_nothing_about_the_next(firmware):
    """A leg that is beyond from the start is blanked anew: a look takes nothing, and there are more to come."""
    moments = watching(firmware, BEGUN + STEP / 2)
    moments.until(BEGUN + STEP)
    call = firmware.call
    call.port_interrupts_off()
    assert len(moments.entries(Vector.COMPARATOR_EDGE)) == 1
    call.crossing_watch(V, RISES_ABOVE, BEGUN + STEP, STEP)
    moments.until(BEGUN + STEP + 800)
    call.on_compare_b()
    before = len(looks(moments))
    call.port_interrupts_restore(1)
    moments.until(BEGUN + STEP + 800 + STEP // 16)

    assert call.port_sense_above() == 1
    assert len(looks(moments)) > before
    assert moments.level(Signal.SENSE_IRQ) == 0


def test_a_false_edge_is_followed_by_a_look(firmware):
    """Noise that calls the handler may hide the true edge behind it, after which none would come."""
    crossing = BEGUN + STEP / 2
    moments = watching(firmware, crossing)
    moments.until(crossing - 40)
    call = firmware.call
    call.port_interrupts_off()
    call.on_comparator_edge()
    looked_from = moments.tick
    call.port_sense_interrupt(0)
    call.port_interrupts_restore(1)
    moments.until(BEGUN + 3 * STEP)
    again = STEP // 32

    assert looks(moments)[1] - looked_from == pytest.approx(again, abs=1.0)
    assert taken_at(moments)[0] == pytest.approx(looks(moments)[1] + 1.0, abs=1.0)
    assert call.timing_interval() == STEP


def test_a_false_edge_leaves_the_true_one_to_its_handler(firmware):
    """The comparator's interrupt stays on, and gives the moment to the tick."""
    crossing = BEGUN + STEP / 2
    moments = watching(firmware, crossing)
    moments.until(crossing - 20)
    call = firmware.call
    call.port_interrupts_off()
    call.on_comparator_edge()
    call.port_interrupts_restore(1)
    moments.until(BEGUN + 3 * STEP)

    assert moments.entries(Vector.COMPARATOR_EDGE) == [crossing + SEE_TICKS]
    assert taken_at(moments)[0] == pytest.approx(crossing + SEE_TICKS + 1.0, abs=0.5)


def answer(firmware, step, rises, flip_after_cycles) -> tuple[bool, int]:
    """Whether a look takes the leg for beyond, whose edge comes so many cycles after the call; and its cycles."""
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
    """Between runs the rotor's crossings mean nothing; compare B matches at every wrap, and does not touch it."""
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
