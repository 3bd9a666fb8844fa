"""The bow thruster's tones on the rig: pitch, length, what they do to rotor and windings."""

import math

import numpy as np
import pytest

from dryspin.recording import Mark, Recording
from dryspin.rig import Rig

from .rite import (
    LEARNT_S,
    calibration,
    first_s,
    marks,
    story,
    tone_notes,
)

C6, E6, G6 = (440.0 * 2.0 ** (n / 12.0) for n in (15, 19, 22))
"""ISO 16:1975: A4 = 440 Hz, equal temperament (f = 440 * 2^(n / 12), n semitones above it).

C6 and E6 stand as 1046.50 and 1318.51 Hz in the CRC Handbook of Chemistry and Physics, section 14.
"""

TUNES = {
    "ready": (32, [(C6, 0.12), (E6, 0.12)]),
    "waiting": (33, [(C6, 0.08)]),
    "calibrating": (34, [(E6, 0.08)]),
    "stored": (35, [(C6, 0.1), (E6, 0.1), (G6, 0.2)]),
    "not stored": (36, [(E6, 0.1), (C6, 0.2)]),
    "lost": (37, [(G6, 0.1), (E6, 0.1), (C6, 0.1)]),
}


@pytest.fixture(scope="module")
def heard(pack: Rig, learnt: Recording) -> dict[str, Recording]:
    """A recording in which each tone is played to its end."""
    armed = pack.run(story(4.5, ((0.0, 1500.0),)))
    refused = pack.run(story(LEARNT_S + 0.6, calibration(0.0, 1720.0, 1560.0, 1210.0)))
    blocked = pack.run(story(6.6, ((0.0, 1500.0), (0.6, 1900.0)), speed_rpm=((0.0, 0.0),)))
    return {
        "ready": armed,
        "waiting": armed,
        "calibrating": learnt,
        "stored": learnt,
        "not stored": refused,
        "lost": blocked,
    }


def test_table_of_pitches() -> None:
    """The formula against a printed table (CRC Handbook of Chemistry and Physics, section 14)."""
    assert pytest.approx(1046.50, abs=0.01) == C6
    assert pytest.approx(1318.51, abs=0.01) == E6


@pytest.mark.parametrize("name", TUNES)
def test_each_note_is_within_five_cents_of_its_pitch(heard: dict[str, Recording], name: str) -> None:
    """Pulse spacing at the gates, interrupt latency included; five cents is what most ears tell."""
    mark, tune = TUNES[name]
    notes = tone_notes(heard[name], mark)

    assert len(notes) == len(tune)
    for (seen_hz, seen_s), (hz, length_s) in zip(notes, tune, strict=True):
        assert abs(1200.0 * math.log2(seen_hz / hz)) < 5.0
        assert seen_s == pytest.approx(length_s, abs=1.5 / hz)


@pytest.mark.parametrize("name", TUNES)
def test_a_tone_neither_turns_the_rotor_nor_heats_the_windings(
    heard: dict[str, Recording], name: str
) -> None:
    """Pulses in turn push and pull; a mean of half an ampere is 0.04 W in a winding of 0.08 ohm."""
    recording = heard[name]
    start_s = first_s(recording, TUNES[name][0])
    stop_s = next(t_s for t_s, code in marks(recording) if t_s > start_s and code < Mark.CROSSING)
    window = recording.states_between(start_s, stop_s)
    theta = recording.state_theta_rad[window]
    t_s, i_a = recording.state_t_s[window], np.abs(recording.states["i_u_a"][window])
    mean_a = float(np.sum((i_a[1:] + i_a[:-1]) / 2.0 * np.diff(t_s)) / (t_s[-1] - t_s[0]))

    assert float(np.degrees(np.ptp(theta))) < 3.0
    assert 0.01 < mean_a < 0.5


def test_a_demand_ends_a_tone_at_once(pack: Rig) -> None:
    """The ready tone lasts 0.3 s; a thruster that finishes its song first is late at the quay."""
    run = pack.run(story(1.2, ((0.0, 1500.0), (0.45, 1800.0))))
    tone_s = first_s(run, 32)
    leaves_s = next(t_s for t_s, code in marks(run) if t_s > tone_s and code < Mark.CROSSING)

    assert leaves_s == pytest.approx(0.45 + 0.01, abs=0.01)
    assert leaves_s - tone_s < 0.25
    assert first_s(run, Mark.RUN) < 0.45 + 0.6


def test_a_tone_does_not_disturb_the_count_of_the_rite(pack: Rig) -> None:
    """Pulses that end while windings are pulsed count like any other."""
    run = pack.run(story(4.0, ((0.0, 0.0), (3.0, 1500.0))))
    tone_s = first_s(run, 33)

    assert 3.0 < tone_s < 3.2
    assert first_s(run, Mark.ARMED) == pytest.approx(3.0 + 24.5 * 0.01, abs=0.006)


def test_no_tone_meets_a_rotor_that_turns(pack: Rig) -> None:
    """Pulses into a turning rotor's EMF are neither a pitch nor harmless; it waits until the rotor rests."""
    turned = ((0.0, 3000.0), (4.5, 3000.0), (4.6, 0.0))
    run = pack.run(story(5.5, ((0.0, 1500.0),), speed_rpm=turned))

    assert first_s(run, Mark.ARMED) < 0.5
    assert 4.5 < first_s(run, Mark.TONE) < 4.7


# ---- arming ----------------------------------------------------------------------------------------
