"""The tones of a run beside their sound: name, place, notes with pitch and length."""

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from dryspin.units import frequency_hz
from dryspin.waveforms import RenderedTone

_NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
_A4_NUMBER = 69


def nearest_note(hz: float) -> tuple[str, float]:
    """(name of the nearest note, by how many cents `hz` is above it), equal temperament, A4 = 440 Hz."""
    number = round(_A4_NUMBER + 12.0 * math.log2(hz / 440.0))
    name = f"{_NAMES[number % 12]}{number // 12 - 1}"
    return name, 1200.0 * math.log2(hz / frequency_hz(name)) if number // 12 in range(1, 11) else 0.0


def tone_lines(tones: Sequence[RenderedTone], path: Path) -> list[str]:
    """A line a tone, a line a note; what there is to hear and what to mind when it is played on a motor."""
    if not tones:
        return [f"no tone was played, so {path} is not written"]
    lines = [f"sound in {path}: {len(tones)} tone{'s' if len(tones) > 1 else ''}"]
    for tone in tones:
        lines.append(
            f"   at {tone.at_s:6.3f} s of the file  {tone.name}, {tone.length_s * 1e3:.1f} ms, "
            f"played at {tone.played_s:.4f} s"
        )
        for hz, length_s in tone.notes:
            lines.append(f"      {_pitch(hz)}  {length_s * 1e3:.1f} ms")
    return lines


def tones_json(tones: Sequence[RenderedTone]) -> list[dict[str, Any]]:
    """The same as plain data."""
    return [
        {
            "name": tone.name,
            "at_s": tone.at_s,
            "played_s": tone.played_s,
            "length_s": tone.length_s,
            "notes": [{"hz": hz or None, "length_s": length_s} for hz, length_s in tone.notes],
        }
        for tone in tones
    ]


def _pitch(hz: float) -> str:
    if hz <= 0.0:
        return "too few pulses for a pitch"
    name, cents = nearest_note(hz)
    return f"{hz:8.2f} Hz  {name} {cents:+.1f} cents"
