"""What is taken for the crossing of the open leg's EMF: seen, past, and false edges of noise."""

import pytest

from dryspin.recording import Signal, Vector

from .moments import Moments, turning
from .watching import BEGUN, RISES_ABOVE, SEE_TICKS, STEP, U, V, W, looks, taken_at, watching


@pytest.mark.parametrize("rises", [False, True])
@pytest.mark.parametrize("leg", [U, V, W])
def test_the_crossing_of_the_named_leg_and_edge_is_taken_when_it_comes(firmware, leg, rises):
    """Seen before it at the first look, then at the comparator's edge, stamped a tick later."""
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
    """A leg that is beyond from the start is blanked anew: a look takes nothing, and more come."""
    moments = watching(firmware, BEGUN + STEP / 2)
    moments.until(BEGUN + STEP)
    call = firmware.call
    call.port_interrupts_off()
    assert len(moments.entries(Vector.COMPARATOR_EDGE)) == 1
    call.crossing_watch(V, RISES_ABOVE, BEGUN + STEP, STEP)
    moments.until(BEGUN + STEP + 800)
    call.port_compare_b_clear()
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
