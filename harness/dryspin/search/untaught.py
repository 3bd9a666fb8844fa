"""Calibrations refused, broken off by a lost signal or by the water, and gone through again and again."""

from dryspin.drive import Drive
from dryspin.search.course import START_UP_S, Course, Stick, armed_s
from dryspin.search.draws import Draws
from dryspin.search.positions import Positions, declared_positions, positions_of, spans_of, width_at
from dryspin.search.rehearsal import Rehearsal
from dryspin.search.streams import stream
from dryspin.search.teaching import (
    DEFAULT,
    SETTLE_S,
    STORING_S,
    TAUGHT_SHARE,
    drives_by,
    hold_at,
    learn,
    storing_s,
)

PIECE_SHARE = 0.7
"""Of the pulses that lead into learning: not enough by itself, twice as much is more than enough."""

BROKEN_SHARE = 0.6
"""Of a hold, likewise."""

FAR_BANDS = 3.0
"""A neutral that many dead bands from the old one: neither is inside the dead band of the other."""

WAITS_S = 2.2
"""At neutral for so long arms, whatever rite is not declared."""

SEEN_SHARES = (0.4, 0.8)
"""Of the stick's way, below and above `TAUGHT_SHARE`."""

TONE_S = 0.7
"""Longer than what is said of a range that is stored."""

WAVES_AHEAD_S, WAVE_S, WAVE_SHARE = (0.02, 0.025, 0.015), 0.12, 0.6
"""A wave as strong as the stream at 0.6 of the ideal speed: it turns the rotor fast enough to be seen while
some dozen bytes are written, 3.4 ms each, and begins before them by less than it takes to be seen."""

SPIN_DOWN_S = 1.8
"""Until its rotor is at rest."""


def too_late(
    draws: Draws,
    drive: Drive,
    rehearsal: Rehearsal,
    course: Course,
    frame_ms: float,
    from_s: float,
    old: Positions,
) -> Course:
    """The stick goes up for the whole rite where that must lead nowhere.

    First after power-on: let go as soon as it has been up for long enough, up for as long in two pieces with
    a lost signal between them, up behind a few pulses elsewhere. Then at sea, full ahead, when a lost signal
    comes back.
    """
    rite = drive.calibration or DEFAULT
    frame_s = frame_ms / 1000.0
    up_us = max(old.high, rite.enter_us + 20.0)
    # The run of pulses, and as long again as it may take to see that the rotor rests.
    long_s = (rite.enter_frames + 2) * frame_s + SETTLE_S + STORING_S
    course.step(from_s, up_us)
    at_s = from_s + START_UP_S + (rite.enter_frames + draws.index("let go", 4)) * frame_s
    at_s = round(at_s / frame_s) * frame_s
    course.step(at_s, old.neutral)
    from_s = course.fault("power cut", at_s + 0.1, 30.0)
    course.step(from_s, up_us)
    at_s = from_s + START_UP_S + PIECE_SHARE * rite.enter_frames * frame_s
    # No pulse at all: what is bad is seen to be so.
    course.step(at_s, 0.0)
    at_s += draws.pick("lost for", (0.4, 1.0, 3.0))
    course.step(at_s, up_us)
    from_s = course.fault("power cut", at_s + PIECE_SHARE * rite.enter_frames * frame_s, 30.0)
    course.step(from_s, draws.pick("first", (old.neutral, old.low, (old.neutral + old.low) / 2.0)))
    at_s = from_s + START_UP_S + (2 + draws.index("frames first", 10)) * frame_s
    at_s = round(at_s / frame_s) * frame_s
    course.step(at_s, up_us)
    at_s += long_s
    at_s = hold_at(course, drive, rehearsal, frame_ms, round(at_s / frame_s) * frame_s, old.neutral, (up_us,))
    course.step(at_s, draws.pick("lost as", Stick(drive).bad_us))
    at_s += draws.pick("lost", (0.4, 0.3, 0.6))
    course.step(at_s, up_us)
    course.end_s = round(at_s + long_s, 4)
    return course


def broken_off(
    draws: Draws,
    drive: Drive,
    rehearsal: Rehearsal,
    course: Course,
    frame_ms: float,
    from_s: float,
    old: Positions,
    *,
    broken_holds: bool,
) -> Course:
    """The signal is lost at any moment of a calibration, and is back with a stick that goes on teaching.

    `broken_holds`: until then a bad pulse comes into each hold, none of which is long enough by itself.
    Then the range in force drives.
    """
    rite, frame_s = drive.calibration or DEFAULT, frame_ms / 1000.0
    spans_us = sorted(spans_of(drive, rite), key=lambda us: -abs(us - (old.high - old.neutral)))
    new = positions_of(rite, draws.pick("new span", spans_us[:3]), old.neutral)
    widths = {"high": new.high, "neutral": new.neutral, "low": new.low}
    begun = Course([], 0.0)
    done_s = learn(begun, rite, frame_ms, from_s, new)
    asked_s = from_s + START_UP_S + (rite.enter_frames + 2) * frame_s
    lost_s = asked_s + draws.index("lost at", 20) / 20.0 * (done_s + STORING_S - asked_s)
    lost_s += draws.index("lost ms", 20) / 1000.0
    if broken_holds:
        begun = Course([(from_s, new.high)], 0.0)
        lost_s = round((asked_s + SETTLE_S) / frame_s) * frame_s
        piece_s = round(BROKEN_SHARE * rite.hold_frames) * frame_s
        bad_us = draws.pick("bad in hold", Stick(drive).bad_us[1:])
        for width_us in (widths[position] for position in rite.order):
            begun.step(lost_s, width_us)
            begun.step(lost_s + piece_s, bad_us)
            begun.step(lost_s + piece_s + frame_s, width_us)
            lost_s += 2.0 * piece_s + frame_s
    course.throttle_us += [(t_s, us) for t_s, us in begun.throttle_us if t_s < lost_s]
    course.step(lost_s, draws.pick("lost as", Stick(drive).bad_us))
    at_s = lost_s + draws.pick("lost", (0.4, 0.3, 1.0, 0.2))
    for position in rite.order:
        course.step(at_s, widths[position])
        at_s += rite.hold_frames * frame_s + SETTLE_S
    return drives_by(draws, drive, rehearsal, course, frame_ms, at_s, old)


def taught_again(draws: Draws, drive: Drive, rehearsal: Rehearsal, course: Course, frame_ms: float) -> Course:
    """Three ranges, one after the other: the last one counts, with a neutral that no other has.

    Its halves are unequal, and it is seen at work both ways, as the declared one is before.
    """
    rite = drive.calibration or DEFAULT
    spans_us = spans_of(drive, rite)
    before = declared_positions(drive)
    sign = (1.0, -1.0)[draws.index("neutral moves", 2)]
    far_us = before.neutral + sign * FAR_BANDS * drive.throttle.dead_band_us
    way = draws.index("way", 2)
    seen_us = [width_at(drive, before.neutral, before.toward(drive, way), share) for share in SEEN_SHARES]
    at_s = hold_at(course, drive, rehearsal, frame_ms, 0.0, before.neutral, seen_us)
    turn = draws.index("spans", len(spans_us))
    for k, neutral_us in enumerate((before.neutral, before.neutral, far_us)):
        from_s = course.fault("power cut", at_s, 30.0)
        at = positions_of(rite, spans_us[(turn + k) % len(spans_us)], neutral_us)
        if neutral_us == far_us:
            at = Positions(at.high, far_us, far_us - spans_us[(turn + k + 1) % len(spans_us)])
        at_s = learn(course, rite, frame_ms, from_s, at) + storing_s(rehearsal.store_s)
    # Once the tone was heard to its end, the old neutral no longer arms.
    at_s = round(at_s + TONE_S, 4)
    course.step(at_s, before.neutral)
    at_s += armed_s(drive, rehearsal, frame_ms)
    from_s = course.fault("power cut", at_s, 30.0)
    course.step(from_s, at.neutral)
    told_us = [width_at(drive, at.neutral, at.toward(drive, w), TAUGHT_SHARE) for w in (way, 1 - way)]
    at_s = hold_at(course, drive, rehearsal, frame_ms, from_s + WAITS_S, at.neutral, told_us)
    course.end_s = round(at_s + 0.05, 4)
    return course


def watered(draws: Draws, drive: Drive, rehearsal: Rehearsal, course: Course, frame_ms: float) -> Course:
    """The water turns the rotor while bytes are written; then before they are, until time runs out."""
    rite, way = drive.calibration or DEFAULT, draws.index("way", 2)
    new = positions_of(rite, draws.pick("new span", spans_of(drive, rite)), drive.throttle.neutral_us)
    done_s = learn(course, rite, frame_ms, 0.0, new)
    first_s = rehearsal.store_s[0][0] if rehearsal.store_s else STORING_S / 2.0
    wave = stream(drive, done_s + first_s - draws.pick("ahead of writing", WAVES_AHEAD_S), way, WAVE_SHARE)
    (over_s, push_nm) = wave[-1]
    wave += ((round(over_s + WAVE_S, 4), push_nm), (round(over_s + WAVE_S + 0.05, 4), 0.0))
    from_s = course.fault("power cut", over_s + WAVE_S + SPIN_DOWN_S, 30.0)
    done_s = learn(course, rite, frame_ms, from_s, new)
    course.load_nm = (*wave, *stream(drive, done_s - draws.pick("water ahead", (0.3, 0.1, 0.0)), way)[1:])
    asked_s = from_s + START_UP_S + (rite.enter_frames + 2) * frame_ms / 1000.0
    course.end_s = round(asked_s + rite.timeout_s + 2.0, 4)
    return course
