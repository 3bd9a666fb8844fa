"""Tones: the declared notes at their pitch, by pulses too short to heat or to turn anything.

What is heard is the train of pulses: its lines lie at multiples of the pulse rate, nearly equal in
height, so a note's pitch is its pulse rate. Two pairs of windings pulsed in turn, 500 us from pulse
to pulse, are heard as 2 kHz with a pattern of 1 kHz.
"""

import math

import numpy as np

from dryspin.monitors.claim import Claim, Needs
from dryspin.monitors.evidence import Evidence
from dryspin.monitors.sounding import (
    LAST_TONE_MARK,
    NAMING_S,
    Burst,
    Note,
    Sounding,
    Wanted,
    soundings,
    wanted,
)
from dryspin.monitors.verdict import Ruling, at_most, discrete, worst
from dryspin.recording import Mark, Signal
from dryspin.recording.windings import pair_name

ORDER = 70

LONE_S = 0.01
"""A pulse later than this after the one before begins anew: no note is so deep."""

PITCH_S = 0.01
"""A note cut shorter than this is a click, not a pitch (from memory: some 10 ms at 1 kHz). One pulse that a
handler of 15 us makes late is 2.5 cents of 10 ms, and more than `pitch_cents` of 5 ms."""

_SILENT = "no declared tone was played"


def pitch(evidence: Evidence) -> Ruling:
    """Each note that lasts long enough to have a pitch is played at its own."""
    limit, rulings = evidence.limits["pitch_cents"], []
    for sounding, note, (hz, _) in _notes(evidence):
        if note.spacing_s > 0.0 and note.length_s >= PITCH_S:
            seen = cents(1.0 / note.spacing_s, hz)
            words = f"{_name(sounding)} plays {1.0 / note.spacing_s:.2f} Hz where {hz:.2f} Hz is declared, "
            words += f"{abs(seen):.1f} cents {'high' if seen > 0.0 else 'low'}"
            rulings.append(at_most(abs(seen), limit, "cents", words, note.start_s, note.row))
    return worst(rulings, _SILENT)


def pattern(evidence: Evidence) -> Ruling:
    """As many notes as declared, each and each pause between them as long as declared."""
    limit, rulings = evidence.limits["note_share"], []
    for sounding in evidence.derive(soundings):
        if sounding.tone is None or (not sounding.whole and not sounding.bursts):
            continue
        declared, heard = wanted(sounding.tone), sounding.bursts
        if len(heard) > len(declared) or (sounding.whole and len(heard) < len(declared)):
            words = f"{_name(sounding)} has {len(heard)} bursts of pulses, not the {len(declared)} declared"
            rulings.append(discrete(True, words, sounding.start_s, sounding.row))
            continue
        for k, (burst, goal) in enumerate(zip(heard, declared, strict=False)):
            if k:
                # The note before it ended with a whole pulse, the pause begins with its time.
                free_s = 1.0 / declared[k - 1].notes[-1][0]
                note = burst.notes[0]
                rulings.append(
                    _length(sounding, "pause", burst.silence_s, goal.silence_s, free_s, note, limit)
                )
            if sounding.whole or k + 1 < len(heard):
                rulings += _note_lengths(sounding, burst, goal, limit)
    return worst(rulings, _SILENT)


def alternation(evidence: Evidence) -> Ruling:
    """No pair of windings is pulsed twice in a row."""
    rulings = []
    for sounding in evidence.derive(soundings):
        pulses = sounding.pulses
        near = np.diff(pulses.starts) <= LONE_S * evidence.recording.f_cpu_hz
        if not np.any(near):
            continue
        again = np.flatnonzero(near & (pulses.pairs[1:] == pulses.pairs[:-1]))
        if len(again):
            k = int(again[0]) + 1
            words = f"{_name(sounding)} pulses {pair_name(int(pulses.pairs[k]))} twice in a row"
            moment_s = float(evidence.recording.seconds(pulses.starts[k]))
            rulings.append(discrete(True, words, moment_s, int(pulses.rows[k])))
        else:
            rulings.append(discrete(False, f"{len(pulses)} pulses by different pairs in turn"))
    return worst(rulings, "no two pulses of a tone followed each other")


def pulse(evidence: Evidence) -> Ruling:
    """No pulse is longer than the tone declares."""
    rulings = []
    for sounding in evidence.derive(soundings):
        pulses = sounding.pulses
        if sounding.tone is None or not len(pulses):
            continue
        long_us = (pulses.stops - pulses.starts) / evidence.recording.f_cpu_hz * 1e6
        k = int(np.argmax(long_us))
        words = f"{_name(sounding)} drives {pair_name(int(pulses.pairs[k]))} for {long_us[k]:.1f} us"
        moment_s = float(evidence.recording.seconds(pulses.starts[k]))
        limit = sounding.tone.pulse_us
        rulings.append(at_most(float(long_us[k]), limit, "us", words, moment_s, int(pulses.rows[k])))
    return worst(rulings, _SILENT)


def current(evidence: Evidence) -> Ruling:
    """The mean current of a winding over a burst of notes stays far below what heats it."""
    recording, limit, rulings = evidence.recording, evidence.limits["tone_a"], []
    for sounding in evidence.derive(soundings):
        for burst in sounding.bursts:
            from_s, to_s = burst.start_s, min(burst.stop_s, sounding.stop_s)
            window = recording.states_between(from_s, to_s)
            t_s = recording.state_t_s[window]
            if len(t_s) < 3 or burst.stop_s <= burst.start_s:
                continue
            u, v = recording.states["i_u_a"][window], recording.states["i_v_a"][window]
            step_s = np.diff(t_s)
            means = []
            for phase in (u, v, u + v):
                size = np.abs(phase).astype(np.float64)
                means.append(float((0.5 * (size[1:] + size[:-1]) * step_s).sum() / (t_s[-1] - t_s[0])))
            seen = max(means)
            words = f"{_name(sounding)} drives a mean of {seen:.3f} A through winding "
            words += "UVW"[int(np.argmax(means))]
            rulings.append(at_most(seen, limit, "A", words, from_s, burst.notes[0].row))
    return worst(rulings, "no note was played while the currents were seen")


def still(evidence: Evidence) -> Ruling:
    """No tone begins while the rotor turns, and none turns it."""
    recording, rulings = evidence.recording, []
    for sounding in evidence.derive(soundings):
        if not len(sounding.pulses):
            continue
        rpm = abs(evidence.rpm_at(float(recording.seconds(sounding.pulses.starts[0]))))
        words = f"{_name(sounding)} begins while the rotor turns at {rpm:.0f} rpm"
        limit_rpm = evidence.limits["turning_rpm"]
        rulings.append(at_most(rpm, limit_rpm, "rpm", words, sounding.start_s, sounding.row))
        if rpm > evidence.limits["rest_rpm"]:
            continue  # it turned before
        if not evidence.inside_envelope(sounding.start_s, sounding.stop_s):
            continue
        theta = recording.state_theta_rad[recording.states_between(sounding.start_s, sounding.stop_s)]
        if len(theta):
            # A rotor that creeps to rest would have come as far by itself, or less far.
            t_s = recording.state_t_s[recording.states_between(sounding.start_s, sounding.stop_s)]
            coasting = rpm * 6.0 * recording.drive.motor.pole_pairs * (t_s - t_s[0])
            moved = np.maximum(np.degrees(np.abs(theta - theta[0])) - coasting, 0.0)
            words = f"{_name(sounding)} turns the rotor by {float(np.max(moved)):.2f} electrical degrees"
            limit_deg = evidence.limits["tone_deg"]
            rulings.append(
                at_most(float(np.max(moved)), limit_deg, "deg", words, sounding.start_s, sounding.row)
            )
    return worst(rulings, "no winding was pulsed to be heard")


def named(evidence: Evidence) -> Ruling:
    """Every tone says which one it is, one that drive.toml declares; and none is only said."""
    recording, rulings = evidence.recording, []
    known = {tone.mark: tone.name for tone in recording.drive.tones}
    played = evidence.derive(soundings)
    for sounding in played:
        if sounding.stop_s - sounding.start_s <= NAMING_S and sounding.stop_s >= recording.end_s:
            continue
        if sounding.number is None:
            words = "a tone is played that does not say which one it is"
        else:
            words = f"tone {sounding.number} is played, which drive.toml does not declare"
        unknown = sounding.number not in known
        words = words if unknown else f"tone {sounding.number} is {known[sounding.number or 0]!r}"
        rulings.append(discrete(unknown, words, sounding.start_s, sounding.row))
    begins_s = np.array([sounding.start_s for sounding in played])
    cycles, values, rows = recording.of(Signal.MARK)
    for k in np.flatnonzero((values >= Mark.TONE_FIRST) & (values <= LAST_TONE_MARK)):
        said_s = float(recording.seconds(cycles[k]))
        if said_s + NAMING_S < recording.end_s and not np.any(np.abs(begins_s - said_s) <= NAMING_S):
            words = f"tone {values[k]} is said to begin, and no tone is played"
            rulings.append(discrete(True, words, said_s, int(rows[k])))
    return worst(rulings, "no tone was played or announced")


def _notes(evidence: Evidence) -> list[tuple[Sounding, Note, tuple[float, float]]]:
    """Every note heard beside the (pitch, length) declared for it."""
    return [
        (sounding, note, goal)
        for sounding in evidence.derive(soundings)
        if sounding.tone is not None
        for burst, declared in zip(sounding.bursts, wanted(sounding.tone), strict=False)
        for note, goal in zip(burst.notes, declared.notes, strict=False)
    ]


def _note_lengths(sounding: Sounding, burst: Burst, goal: Wanted, limit: float) -> list[Ruling]:
    # A note is a whole number of pulses, and where it goes over into another belongs to either.
    return [
        _length(sounding, f"note of {hz:.0f} Hz", note.length_s, length_s, 1.0 / hz, note, limit)
        for note, (hz, length_s) in zip(burst.notes, goal.notes, strict=True)
    ]


def _length(
    sounding: Sounding, what: str, seen_s: float, wanted_s: float, free_s: float, note: Note, limit: float
) -> Ruling:
    share = max(abs(seen_s - wanted_s) - free_s, 0.0) / wanted_s
    words = f"a {what} of {_name(sounding)} lasts {seen_s * 1e3:.1f} ms, not {wanted_s * 1e3:.1f} ms"
    return at_most(share, limit, "", words, note.start_s, note.row)


def cents(seen_hz: float, wanted_hz: float) -> float:
    """By how much `seen_hz` is above `wanted_hz`, in hundredths of an equal semitone."""
    return 1200.0 * math.log2(seen_hz / wanted_hz)


def _name(sounding: Sounding) -> str:
    if sounding.tone is not None:
        return f"the tone {sounding.tone.name!r} at {sounding.start_s:.3f} s"
    return f"the tone at {sounding.start_s:.3f} s"


CLAIMS = (
    Claim(
        "pitch",
        "each note is played at its pitch",
        Needs.PINS | Needs.INSIDE,
        pitch,
        ("pitch_cents", "demand_act_s"),
    ),
    Claim(
        "pattern",
        "a tone has its declared notes and pauses, each of its length",
        Needs.PINS | Needs.INSIDE,
        pattern,
        ("note_share", "demand_act_s"),
    ),
    Claim(
        "alternation", "no pair of windings is pulsed twice in a row", Needs.PINS | Needs.INSIDE, alternation
    ),
    Claim("pulse", "no pulse of a tone is longer than declared", Needs.PINS | Needs.INSIDE, pulse),
    Claim(
        "current",
        "the mean current of a tone heats no winding",
        Needs.PINS | Needs.ANALOG | Needs.INSIDE,
        current,
        ("tone_a",),
    ),
    Claim(
        "still",
        "no tone begins while the rotor turns, and none turns it",
        Needs.PINS | Needs.INSIDE,
        still,
        ("turning_rpm", "tone_deg", "rest_rpm"),
    ),
    Claim("named", "every tone says which declared one it is", Needs.INSIDE, named),
)
