"""Notes by name and their frequencies."""

import pytest

from dryspin.errors import UnitError
from dryspin.units import frequency_hz

# CRC Handbook of Chemistry and Physics, table of the equal tempered scale (hbcp.chemnetbase.com, 14_22).
HANDBOOK = {
    "C4": 261.63,
    "D4": 293.66,
    "E4": 329.63,
    "F4": 349.23,
    "C6": 1046.50,
    "D6": 1174.66,
    "E6": 1318.51,
    "F6": 1396.91,
}
# Computed apart, by repeated multiplication with the twelfth root of two.
MORE = {
    "G4": 391.995,
    "B4": 493.883,
    "C5": 523.251,
    "E5": 659.255,
    "G5": 783.991,
    "A5": 880.000,
    "C7": 2093.005,
}


def test_concert_pitch_is_440_hz():
    """ISO 16:1975."""
    assert frequency_hz("A4") == 440.0


@pytest.mark.parametrize("note", HANDBOOK)
def test_note_is_that_of_the_handbook(note):
    """CRC Handbook, to its last digit: 0.01 Hz."""
    assert frequency_hz(note) == pytest.approx(HANDBOOK[note], abs=0.0051)


@pytest.mark.parametrize("note", MORE)
def test_note_is_the_computed_one(note):
    """No published source; another way of computing."""
    assert frequency_hz(note) == pytest.approx(MORE[note], abs=0.001)


@pytest.mark.parametrize(("sharp", "flat"), [("C#5", "Db5"), ("F#6", "Gb6"), ("A#4", "Bb4"), ("B4", "Cb5")])
def test_black_keys_have_two_names(sharp, flat):
    """Equal temperament makes them one; the octave changes at C."""
    assert frequency_hz(sharp) == frequency_hz(flat)


@pytest.mark.parametrize("name", ["", "H4", "c6", "C", "C10", "C##4", "6C", "C\u0666", " C6", "C6\n"])
def test_other_names_are_refused(name):
    """With how a note is written."""
    with pytest.raises(UnitError) as refusal:
        frequency_hz(name)
    assert str(refusal.value) == (
        f'"{name}" is no note: write a letter A to G, then # or b where needed, then the octave, as in C6'
    )
