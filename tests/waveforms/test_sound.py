"""Tones as sound: what is heard has the declared pitch and length."""

import wave
from pathlib import Path

import numpy as np
import pytest

from dryspin.recording import Recording
from dryspin.report.sound import nearest_note, tone_lines
from dryspin.waveforms import render_tones, save_wav

from ..recording import samples

C6_HZ, E6_HZ = 1046.50, 1318.51
"""CRC Handbook, table 14-22 (hbcp.chemnetbase.com)."""


def line_spacing_hz(sound: np.ndarray, rate_hz: float) -> float:
    """Pitch of a pulse train by autocorrelation, the delay of the first high peak interpolated by a
    parabola: its lines are equally high, so the tallest bin says nothing (references, N-08)."""
    spectrum = np.abs(np.fft.rfft(sound, 8 * len(sound))) ** 2
    likeness = np.fft.irfft(spectrum)[: len(sound) // 2]
    first = int(rate_hz / 3000.0)
    near = likeness[first : int(rate_hz / 600.0)]
    # Two periods are as like as one: the first peak that is nearly as high as the highest.
    peaks = (near[1:-1] > near[:-2]) & (near[1:-1] >= near[2:]) & (near[1:-1] > 0.8 * near.max())
    k = first + 1 + int(np.argmax(peaks))
    before, at, after = likeness[k - 1 : k + 2]
    return rate_hz / (k + 0.5 * (before - after) / (before - 2.0 * at + after))


def test_the_file_sounds_at_the_declared_pitch(voyage: Recording, tmp_path: Path) -> None:
    """ "ready" is C6 for 120 ms, a pause of 60 ms, E6 for 120 ms; from drive.toml and the table of the
    CRC Handbook, heard in the file itself. The autocorrelation of 100 ms is good for some 5 cents."""
    tones, sound = render_tones(voyage)
    save_wav(sound, tmp_path / "a.wav")
    with wave.open(str(tmp_path / "a.wav")) as audio:
        rate = audio.getframerate()
        heard = np.frombuffer(audio.readframes(audio.getnframes()), "<i2").astype(np.float64)
    ready = tones[0]
    begin = round(ready.at_s * rate)

    def part(from_s: float, to_s: float) -> np.ndarray:
        return heard[begin + round(from_s * rate) : begin + round(to_s * rate)]

    assert ready.name == "ready"
    assert ready.length_s == pytest.approx(0.3, abs=2e-3)
    assert line_spacing_hz(part(0.01, 0.11), rate) == pytest.approx(C6_HZ, rel=3e-3)
    assert line_spacing_hz(part(0.19, 0.29), rate) == pytest.approx(E6_HZ, rel=3e-3)
    assert np.abs(part(0.13, 0.17)).max() < 0.1 * np.abs(part(0.01, 0.11)).max()


def test_the_loudest_sample_is_three_decibels_below_full_scale(voyage: Recording) -> None:
    """Currents of a tone are tenths of an ampere; unscaled nobody would hear them."""
    _, sound = render_tones(voyage)

    assert np.abs(sound).max() == pytest.approx(10.0 ** (-3.0 / 20.0), rel=2e-3)


def test_pitch_and_length_are_listed_beside_it(voyage: Recording) -> None:
    """As the windings played them, with the nearest note of equal temperament."""
    lines = tone_lines(render_tones(voyage)[0], Path("tug.wav"))

    assert lines[0] == "sound in tug.wav: 1 tone"
    assert "ready" in lines[1]
    assert "C6" in lines[2]
    assert "E6" in lines[3]
    assert float(lines[2].split()[0]) == pytest.approx(C6_HZ, rel=1e-3)


@pytest.mark.parametrize(
    ("hz", "name", "cents"),
    [(440.0, "A4", 0.0), (261.63, "C4", 0.03), (1396.91, "F6", 0.0), (450.0, "A4", 38.9)],
)
def test_the_nearest_note_is_that_of_the_table(hz: float, name: str, cents: float) -> None:
    """ISO 16:1975 (A4 = 440 Hz) and CRC Handbook table 14-22; 450 Hz by the definition of the cent."""
    seen = nearest_note(hz)

    assert seen[0] == name
    assert seen[1] == pytest.approx(cents, abs=0.05)


def test_a_silent_run_has_no_sound() -> None:
    """And says so, instead of leaving an empty file behind."""
    tones, sound = render_tones(samples.recording([]))

    assert (tones, len(sound)) == ([], 0)
    assert tone_lines(tones, Path("tug.wav")) == ["no tone was played, so tug.wav is not written"]
