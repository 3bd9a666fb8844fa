"""The bow thruster and its transmitter: fast and slow frames, stray pulses, gaps, a stick at the border."""

import math

import numpy as np
import pytest

from dryspin.recording import Mark, Recording, Signal
from dryspin.rig import Rig
from dryspin.scenario import Trace

from .rite import first_s, marks, said, settled_counts, story

FRAMES_MS = (25.0, 20.0, 10.0, 2.5)
"""40 Hz to 400 Hz: what transmitters and receivers send (common practice, no source)."""


def frames(from_s: float, frame_ms: float, *widths_us: float, times: int = 1) -> Trace:
    """One width a frame, from the frame that begins at `from_s` on."""
    first = round(from_s * 1000.0 / frame_ms)
    return tuple(
        (round((first + k) * frame_ms / 1000.0, 6), width) for k, width in enumerate(widths_us * times)
    )


def states_after(recording: Recording, from_s: float) -> list[int]:
    """State marks after `from_s`."""
    return [code for t_s, code in marks(recording) if t_s > from_s and code < Mark.CROSSING]


def duty_at(recording: Recording, *times_s: float) -> list[int]:
    """Counts at each moment."""
    cycles = np.array([recording.cycle_of(t_s) for t_s in times_s])
    return [int(counts) for counts in recording.value_at(Signal.DUTY, cycles)]


@pytest.mark.parametrize("frame_ms", FRAMES_MS)
def test_arms_after_25_frames_and_never_within_a_fifth_of_a_second(pack: Rig, frame_ms: float) -> None:
    """25 frames at 400 Hz are 60 ms: a stick on its way through neutral stays there as long."""
    armed_s = first_s(pack.run(story(1.0, ((0.0, 1500.0),), frame_ms=frame_ms)), Mark.ARMED)
    first_pulse_s = math.ceil((0.065 - frame_ms / 2000.0) * 1000.0 / frame_ms) * frame_ms / 1000.0

    assert armed_s - first_pulse_s >= 0.2
    assert armed_s - first_pulse_s <= max(0.23, 0.025 * frame_ms) + 2.0 * frame_ms / 1000.0


def test_speed_and_delay_do_not_depend_on_the_frame(pack: Rig) -> None:
    """The stick moves the duty by milliseconds and not by frames."""
    runs = {
        frame_ms: pack.run(story(2.0, ((0.0, 1500.0), (0.8, 1750.0)), frame_ms=frame_ms))
        for frame_ms in FRAMES_MS
    }
    counts = [settled_counts(run) for run in runs.values()]
    run_s = [first_s(run, Mark.RUN) - 2.0 * frame_ms / 1000.0 for frame_ms, run in runs.items()]

    assert np.ptp(counts) <= 1
    assert np.ptp(run_s) < 0.03


def test_a_stray_pulse_neither_starts_the_rotor_nor_moves_the_duty(pack: Rig) -> None:
    """A pulse run together with its neighbour's noise may look good; the median of three leaves it out."""
    stick = (
        *((0.0, 1500.0), *frames(0.5, 10.0, 1900.0, 1500.0)),
        *((0.7, 1700.0), *frames(1.5, 10.0, 1100.0, 1700.0), *frames(1.6, 10.0, 2150.0, 1700.0)),
    )
    run = pack.run(story(1.8, stick))

    assert 0.7 < first_s(run, Mark.ALIGN) < 0.8
    assert Mark.BRAKE not in said(run)
    assert np.ptp(duty_at(run, 1.49, 1.515, 1.55, 1.615, 1.65)) <= 1


def test_a_stick_on_the_border_of_neutral_does_not_make_it_stutter(pack: Rig) -> None:
    """Six microseconds of scatter, a start a second: the border to leave neutral lies further out."""
    resting = pack.run(story(1.6, ((0.0, 1500.0), *frames(0.5, 10.0, 1538.0, 1544.0, 1541.0, times=30))))
    stick = ((0.0, 1500.0), (0.5, 1560.0), *frames(1.0, 10.0, 1546.0, 1542.0, 1544.0, times=20))
    running = pack.run(story(1.6, stick))

    assert Mark.ALIGN not in said(resting)
    assert states_after(running, 1.0) == []
    assert settled_counts(running) > 0


def test_a_gap_of_three_frames_is_held_and_a_longer_one_opens_all_gates(pack: Rig) -> None:
    """60 ms are a wave over the aerial; after 100 ms nobody is there who could stop it."""
    stick = ((0.0, 1500.0), (0.6, 1800.0), (1.5, 0.0), (1.56, 1800.0), (1.7, 0.0))
    run = pack.run(story(2.0, stick, frame_ms=20.0))
    off_s = first_s(run, Mark.OFF, 1.0)

    assert np.ptp(duty_at(run, 1.49, 1.55, 1.6)) <= 1
    assert states_after(run, 1.5)[:1] == [Mark.OFF]
    assert off_s == pytest.approx(1.69 + 0.0018 + 0.1, abs=0.005)
    assert not np.any(run.gates.values[run.gates.index_at(np.array([run.cycle_of(off_s + 1e-4)]))[0]])


@pytest.mark.parametrize("stick_us", [1500.0, 1900.0])
def test_a_receiver_that_sends_neutral_and_then_nothing_stops_it_for_good(pack: Rig, stick_us: float) -> None:
    """Some receivers answer a lost transmitter so, and greet with it: the rite is due when it is back."""
    lost = ((1.1, 1500.0), (1.4, 0.0), (1.7, stick_us))
    run = pack.run(story(2.2, ((0.0, 1500.0), (0.4, 1800.0), *lost)))
    greeted = pack.run(story(1.5, ((0.0, 1500.0), (0.4, 0.0), (0.8, stick_us))))

    assert states_after(run, 1.1)[0] == Mark.BRAKE
    assert first_s(run, Mark.OFF, 1.1) < 1.52
    assert Mark.ALIGN not in states_after(run, 1.1)
    assert first_s(greeted, Mark.OFF, 0.4) < 0.52
    assert Mark.ALIGN not in said(greeted)
