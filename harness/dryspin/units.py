"""Conversions between the units of data sheets and SI, and of moments into whole CPU cycles.

Speeds are mechanical, in rpm or rad/s; kv is line-to-line, in rpm/V, as motor sheets give it.
"""

import math
import re
from fractions import Fraction

from dryspin.errors import UnitError

RAD_S_PER_RPM = 2.0 * math.pi / 60.0
"""rad/s in one rpm, exact by definition of both."""


def rad_s_from_rpm(speed_rpm: float) -> float:
    """Mechanical speed in rad/s of a speed in rpm."""
    return speed_rpm * RAD_S_PER_RPM


def rpm_from_rad_s(speed_rad_s: float) -> float:
    """Mechanical speed in rpm of a speed in rad/s."""
    return speed_rad_s / RAD_S_PER_RPM


def kt_from_kv(kv_rpm_per_v: float) -> float:
    """Torque per ampere (Nm/A) with two phases on, from kv (rpm/V): kt = 60 / (2 pi kv).

    Textbook identity of the DC-equivalent machine, k_T = 1/k_v in SI. Not the factor 8.27/kv,
    which belongs to sinusoidal currents.
    """
    return 1.0 / (kv_rpm_per_v * RAD_S_PER_RPM)


def kv_from_kt(kt_nm_per_a: float) -> float:
    """kv (rpm/V, line to line) from the torque per ampere (Nm/A) with two phases on."""
    return 1.0 / (kt_nm_per_a * RAD_S_PER_RPM)


def k_phase_from_kv(kv_rpm_per_v: float) -> float:
    """Flat top of one phase's back-EMF (V s/rad): half of the line-to-line constant."""
    return 0.5 * kt_from_kv(kv_rpm_per_v)


_A4_HZ = 440.0
_SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_ACCIDENTALS = {"": 0, "#": 1, "b": -1}
_NOTE = re.compile(r"([A-G])([#b]?)([0-9])", re.ASCII)


def frequency_hz(note: str) -> float:
    """Frequency (Hz) of a note by name, such as "C6", "F#5" or "Bb4"; raises `UnitError`.

    Equal temperament from A4 = 440 Hz (ISO 16:1975): f = 440 * 2^((m - 69) / 12) with m the number
    of semitones from C of the octave below zero; octave numbers change at C.
    """
    parts = _NOTE.fullmatch(note)
    if parts is None:
        raise UnitError(
            f'"{note}" is no note: write a letter A to G, then # or b where needed, then the octave, as in C6'
        )
    letter, accidental, octave = parts.groups()
    m = 12 * (int(octave) + 1) + _SEMITONES[letter] + _ACCIDENTALS[accidental]
    return float(_A4_HZ * 2.0 ** ((m - 69) / 12.0))


def cycles(seconds: float | str, f_cpu_hz: float, *, rounded: bool = False) -> int:
    """Whole CPU cycles in `seconds` at `f_cpu_hz`.

    Takes the decimal text of the number, so 0.1 s means one tenth. A moment between two cycles
    raises `UnitError` unless `rounded` asks for the nearest cycle (ties to even).
    """
    exact = Fraction(str(seconds)) * Fraction(str(f_cpu_hz))
    if exact.denominator != 1 and not rounded:
        raise UnitError(
            f"{seconds} s is {float(exact):.3f} cycles at {f_cpu_hz:g} Hz; "
            "choose a whole number of cycles or pass rounded=True"
        )
    return round(exact)
