"""Learning the stick's range: what was learnt is stored while the rotor rests; how it ends otherwise."""

from dataclasses import replace

import pytest

from dryspin.call.firmware import QUIET

from .learning import DOWN, ENDS, LOOKS, MIDDLE, NO_NEWS, STORED, UP, Learner
from .legs import OFFSET_ABOVE

TICKS_PER_MS = 2000


def test_a_range_is_stored_once_the_rotor_is_seen_at_rest(learning):
    """All looks come first, and a sign of turning begins them anew; nothing is written meanwhile."""
    learning.learn(UP, MIDDLE, DOWN)
    blank = learning.firmware.store
    assert learning.beats(1) == [NO_NEWS]
    assert learning.turn() == [NO_NEWS] * 5
    assert learning.beats(LOOKS) == [NO_NEWS] * LOOKS
    assert learning.firmware.store == blank

    assert learning.wants_beats == 1
    assert learning.write() == STORED
    assert learning.wants_beats == 0
    found = learning.firmware.new("stick_range")
    assert learning.call.record_load(found) == 1
    assert vars(found.value) == {"low_ticks": DOWN, "neutral_ticks": MIDDLE, "high_ticks": UP}
    assert vars(learning.call.calibration_range()[0]) == vars(found.value)


def test_the_way_in_is_shut_after_a_range_was_stored(learning):
    """Until the next power-on."""
    learning.learn(UP, MIDDLE, DOWN)
    learning.beats(LOOKS + 1)
    learning.write()

    assert learning.hold(UP, 120) == [NO_NEWS] * 120
    assert learning.wants_beats == 0


def test_listening_goes_on_all_along_the_writing(learning):
    """Water may begin to turn the rotor at any time; what was stored before is still there."""
    learning.learn(UP, MIDDLE, DOWN)
    learning.beats(LOOKS + 1)
    learning.firmware.wait(ms=3.5)
    news = learning.turn()

    assert news[-1] == ENDS
    assert news[:-1] == [NO_NEWS] * 4
    assert learning.wants_beats == 0
    assert learning.call.record_load(learning.firmware.new("stick_range")) == 0


def test_a_slow_store_is_waited_for_while_the_rotor_is_seen_at_rest_again_and_again(learning):
    """Beats come every 0.1 ms, a byte takes 3.3 ms: listening is over and begins anew meanwhile."""
    learning.learn(UP, MIDDLE, DOWN)
    learning.beats(LOOKS + 1)
    news, count = NO_NEWS, 0
    while news == NO_NEWS and count < 2000:
        news = learning.call.calibration_beat()
        learning.firmware.wait(ms=0.085)
        count += 1

    assert news == STORED
    # eleven bytes and the version once more, and not much besides
    assert 11 * 3.3 < count * 0.1 < 14 * 3.5


def test_a_record_that_reads_back_wrong_is_not_stored(learning):
    """A worn byte: the range is what it was, and that is said."""
    learning.learn(UP, MIDDLE, DOWN)
    learning.beats(LOOKS + 1)
    for _ in range(11):
        assert learning.call.calibration_beat() == NO_NEWS
        learning.firmware.wait(ms=3.5)
    assert learning.firmware.store[0] == 1
    learning.call.port_store_write(4, learning.firmware.store[4] ^ 8)
    learning.firmware.wait(ms=3.5)

    assert learning.call.calibration_beat() == ENDS
    assert learning.wants_beats == 0


@pytest.mark.parametrize(
    "taught", [(), (UP,), (UP, MIDDLE), (UP, MIDDLE, DOWN)], ids=lambda taught: str(len(taught))
)
def test_it_can_be_abandoned_at_any_time_but_while_writing(learning, taught):
    """Then the way in is shut."""
    learning.learn(*taught)
    assert learning.call.calibration_abandon() == ENDS

    assert learning.wants_beats == 0
    assert learning.hold(UP, 120) == [NO_NEWS] * 120
    assert learning.wants_beats == 0


def test_a_writing_is_not_abandoned(learning):
    """It is over soon, and goes on to its end."""
    learning.learn(UP, MIDDLE, DOWN)
    learning.beats(LOOKS + 1)
    assert learning.call.calibration_abandon() == NO_NEWS

    assert learning.wants_beats == 1
    assert learning.write() == STORED


def beat_ms(firmware):
    """The time between two beats of the bridge at rest."""
    firmware.call.events_wait()
    begun_s = firmware.now_s
    firmware.call.events_wait()
    return (firmware.now_s - begun_s) * 1e3


@pytest.mark.parametrize("how", ["begins", "stick down", "abandoned"])
def test_beats_are_quick_only_while_somebody_listens(firmware, how):
    """0.1 ms for looks, else the millisecond that all else counts in."""
    firmware.reset(OFFSET_ABOVE)
    firmware.call.commutation_start()
    firmware.call.commutation_rest(TICKS_PER_MS)
    learner = Learner(firmware)
    learner.ask()
    firmware.call.port_interrupts_restore(1)
    assert beat_ms(firmware) == pytest.approx(1.0, abs=0.01)
    learner.beats(1)
    assert beat_ms(firmware) == pytest.approx(0.1, abs=0.01)
    if how == "begins":
        learner.beats(LOOKS)
    elif how == "stick down":
        learner.pulse(MIDDLE)
    else:
        learner.call.calibration_abandon()

    assert beat_ms(firmware) == pytest.approx(1.0, abs=0.01)


def test_a_way_in_that_shuts_cuts_no_tone_short(firmware):
    """Nobody has listened yet: the beat is the tone's."""
    waiting = 33
    firmware.reset(replace(QUIET, end_s=10.0))
    firmware.call.commutation_start()
    firmware.call.tone_begin(waiting)
    firmware.call.commutation_tone()
    Learner(firmware).pulse(MIDDLE)

    assert firmware.call.commutation_tone_is_over() == 0
