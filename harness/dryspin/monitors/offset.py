"""What sampling and the comparator take from a commutation angle before the firmware has any part in it."""

import math
from typing import Final

import numpy as np

from dryspin.monitors.evidence import Evidence, Floats
from dryspin.recording import Recording

NOISE_SIGMAS: Final = 4.0
"""Noise reaches four standard deviations somewhere in the thousands of looks of a run."""

RAMP_DEG: Final = 30.0
"""The EMF's slope ends 30 degrees from its zero; an offset beyond the flat top hides the zero."""


def offset_deg(offset_v: Floats, w_rad_s: Floats, k_phase_v_s: float, ratio: float) -> Floats:
    """Electrical degrees by which a comparator offset (V at the pin) moves a crossing.

    Between its flat tops the EMF of a phase runs through 2 k w in 60 degrees, and the comparator
    sees 2/3 of it through the divider: offset / (ratio 2/3 2 k w / 60). At most `RAMP_DEG`.
    """
    slope_v_deg = ratio * (2.0 / 3.0) * 2.0 * k_phase_v_s * np.abs(w_rad_s) / 60.0
    # Written as a product, so that a rotor at rest needs no case of its own.
    hidden = np.abs(offset_v) >= RAMP_DEG * slope_v_deg
    return np.where(
        hidden,
        np.where(offset_v == 0.0, 0.0, RAMP_DEG),
        np.abs(offset_v) / np.where(hidden, 1.0, slope_v_deg),
    )


def sampling_deg(w_rad_s: Floats, pole_pairs: int, f_pwm_hz: float) -> Floats:
    """Worst error of a crossing looked for once a carrier period: 360 f_e / f_pwm degrees."""
    return 360.0 * pole_pairs * np.abs(w_rad_s) / (2.0 * math.pi) / f_pwm_hz


def pin_offset_v(recording: Recording, t_s: Floats) -> Floats:
    """Offset and noise at the comparator's pin in this very run, V, at each of `t_s`."""
    scenario = recording.scenario
    fixed_v = abs(scenario.parts.get("offset_v", recording.drive.sense.offset_v.nominal))
    trace = scenario.comparator_noise_mv
    if not trace:
        return np.full(len(t_s), fixed_v)
    times, values = zip(*trace, strict=True)
    noise_mv: Floats = np.interp(t_s, times, values)
    return fixed_v + NOISE_SIGMAS * 1e-3 * noise_mv


def allowances(evidence: Evidence, t_s: Floats) -> tuple[Floats, Floats]:
    """(sampling, offset) in electrical degrees at each of `t_s`, from the true speed of the rotor."""
    recording = evidence.recording
    drive, w_rad_s = recording.drive, recording.w_at(t_s)
    # kv and k_phase are inverse to each other.
    k_phase_v_s = drive.motor.k_phase_v_s / recording.scenario.parts.get("kv", 1.0)
    sampling = sampling_deg(w_rad_s, drive.motor.pole_pairs, drive.bridge.f_pwm_hz)
    return sampling, offset_deg(pin_offset_v(recording, t_s), w_rad_s, k_phase_v_s, drive.sense.ratio)
