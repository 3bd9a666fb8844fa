"""The tones of the windings as sound: the size of the phase currents, heard.

A winding is pulled whichever way its current flows, so half the sum of the three currents' sizes (the
current through a driven pair) is what moves the housing. It is averaged over each audio sample, its
mean is taken away, and the loudest sample of all tones becomes -3 dB. The tones follow one another
with a pause; what lies between them in the run (a turning motor would drown them) is left out.
"""

import wave
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from dryspin.monitors.evidence import Evidence
from dryspin.monitors.limits import Limits
from dryspin.monitors.sounding import Sounding, soundings
from dryspin.recording import Recording
from dryspin.waveforms.files import whole_file

Floats = NDArray[np.float64]

RATE_HZ = 44_100
PAUSE_S = 0.25
PEAK = 0.7071
"""-3 dB below full scale."""


@dataclass(frozen=True)
class RenderedTone:
    """One tone in the file: where it stands there, when it was played, and its notes.

    `notes` are (Hz, length in s), measured on the pulses of the FETs; Hz is 0 where a note has too few.
    """

    name: str
    at_s: float
    played_s: float
    length_s: float
    notes: tuple[tuple[float, float], ...]


def render_tones(recording: Recording) -> tuple[list[RenderedTone], Floats]:
    """Every tone of the recording, and the samples (RATE_HZ, within -1..1) of all of them in a row.

    Empty where no tone was played or nobody saw the currents.
    """
    if not len(recording.states):
        return [], np.zeros(0)
    evidence = Evidence(recording, Limits(recording.drive, None))
    rendered: list[RenderedTone] = []
    parts: list[Floats] = []
    at = 0
    for sounding in soundings(evidence):
        if not sounding.bursts:
            continue
        samples = _heard(recording, sounding.start_s, sounding.stop_s)
        rendered.append(_described(sounding, at / RATE_HZ))
        parts += [samples, np.zeros(round(PAUSE_S * RATE_HZ))]
        at += len(samples) + len(parts[-1])
    if not parts:
        return [], np.zeros(0)
    sound = np.concatenate(parts)
    loudest = float(np.max(np.abs(sound)))
    return rendered, sound * (PEAK / loudest) if loudest > 0.0 else sound


def save_wav(sound: Floats, path: Path) -> None:
    """Write samples within -1..1 as 16-bit mono at RATE_HZ; UsageError where the place cannot be written."""
    with whole_file(path, "wb") as file, wave.open(file, "wb") as audio:
        audio.setnchannels(1)
        audio.setsampwidth(2)
        audio.setframerate(RATE_HZ)
        audio.writeframes(np.round(sound * 32767.0).astype("<i2").tobytes())


def _heard(recording: Recording, from_s: float, to_s: float) -> Floats:
    """Mean size of the current in each audio sample, without its mean: exact between recorded states."""
    window = recording.states_between(from_s - 1e-3, to_s + 1e-3)
    t_s = recording.state_t_s[window]
    u = recording.states["i_u_a"][window].astype(np.float64)
    v = recording.states["i_v_a"][window].astype(np.float64)
    size = 0.5 * (np.abs(u) + np.abs(v) + np.abs(u + v))
    grid = from_s + np.arange(int((to_s - from_s) * RATE_HZ) + 1) / RATE_HZ
    if len(t_s) < 2 or len(grid) < 2:
        return np.zeros(0)
    charge = np.concatenate([[0.0], np.cumsum(0.5 * (size[1:] + size[:-1]) * np.diff(t_s))])
    mean = np.diff(np.interp(grid, t_s, charge)) * RATE_HZ
    heard: Floats = mean - float(np.mean(mean))
    return heard


def _described(sounding: Sounding, at_s: float) -> RenderedTone:
    notes = tuple(
        (1.0 / note.spacing_s if note.spacing_s > 0.0 else 0.0, note.length_s)
        for burst in sounding.bursts
        for note in burst.notes
    )
    name = sounding.tone.name if sounding.tone is not None else "a tone without a name"
    return RenderedTone(name, at_s, sounding.start_s, sounding.stop_s - sounding.start_s, notes)
