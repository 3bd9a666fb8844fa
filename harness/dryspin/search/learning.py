"""Calibration: ranges learnt, given up, and cut off while they are being written.

A scenario holds what is needed to tell the old range from the new one afterwards: it drives under the
old range at two positions, and after the cut at one whose share of the stick's way is the one under
the old range and the other under the new.
"""

from itertools import count

from dryspin.drive import Drive
from dryspin.scenario import Scenario
from dryspin.search.course import RARE, START_UP_S, Course, fall_s
from dryspin.search.draws import MAX_VALUES, Draws
from dryspin.search.positions import (
    SPANS,
    Positions,
    positions_of,
    ranges,
    spans_of,
)
from dryspin.search.rehearsal import Rehearsal, Spans
from dryspin.search.teaching import (
    DEFAULT,
    SETTLE_S,
    STORING_S,
    drives_by,
    hold_at,
    learn,
    storing_s,
    taught_before,
)
from dryspin.search.untaught import broken_off, taught_again, too_late, watered

STOP_S = 0.3
"""Until a rotor that is braked is at rest."""

BEGINNING = 0.02
"""Share of a write at which its byte is still as it was."""

DECLARED = 2
"""Of the choices of a range in force, those for the declared one, with a calibration behind the cut."""

KINDS = 24
GIVEN_UP_NARROW, GIVEN_UP, UPSIDE_DOWN, TOO_LATE = RARE, RARE + 8, RARE + 15, RARE + 3
INTERRUPTED = (RARE + 1, RARE + 13)
CREEPING = RARE + 6
BROKEN_OFF, BROKEN_HOLDS, TAUGHT_AGAIN, WATERED, FOR_EVER = (RARE + k for k in (4, 14, 11, 2, 7))
STORED = (RARE + 5, RARE + 17, CREEPING)
"""Of all kinds those that are not learnt to the end, or that are, a second time; the covering plan meets
every kind once."""

ASIDE = (
    *(GIVEN_UP_NARROW, GIVEN_UP, UPSIDE_DOWN, FOR_EVER, TOO_LATE),
    *(BROKEN_OFF, BROKEN_HOLDS, TAUGHT_AGAIN, WATERED),
)

GAP_FALLS = (1.25, 1.5, 1.0)
"""Gaps of the supply, in times in which the bus falls to a brown-out; twice as long ones empty it."""

CUT_OFF = tuple(kind for kind in range(KINDS) if kind not in (*ASIDE, *STORED))

LEARNT_FIRST = (
    *(GIVEN_UP_NARROW, INTERRUPTED[0], UPSIDE_DOWN, TOO_LATE, CREEPING, GIVEN_UP),
    *(BROKEN_OFF, TAUGHT_AGAIN, WATERED, BROKEN_HOLDS, FOR_EVER),
    *(0, 1, STORED[0]),
)
"""Kinds told first by the covering plan: what only they show is to be met early. Behind them, where the few
stories of a short check lie, a cut and a range that is stored."""

CUT_BY = (*("power cut", "power cut", "reset") * 4, "supply gap")
"""A gap is rare: what the bus capacitor lasts depends on supply and tones, so that it mostly misses."""


def calibration(draws: Draws, drive: Drive, frame_ms: float, rehearsal: Rehearsal) -> Course:
    """A range in force, then a calibration cut off in its writing (rarely at a second try).

    The range in force was learnt before, or is the declared one. Rarely the calibration is given up,
    asked for when it is too late, or cut off only after its writing.
    """
    kind = draws.index("kind", KINDS)
    rite = drive.calibration or DEFAULT
    course = Course([(0.0, 0.0)], 0.0)
    course.aside = kind in ASIDE
    if kind == TAUGHT_AGAIN:
        return taught_again(draws, drive, rehearsal, course, frame_ms)
    if kind == WATERED:
        return watered(draws, drive, rehearsal, course, frame_ms)
    if kind in (GIVEN_UP_NARROW, GIVEN_UP, UPSIDE_DOWN, FOR_EVER):
        from_s, old = taught_before(draws, drive, rite, course, frame_ms, rehearsal)
        return _given_up(draws, drive, rehearsal, course, frame_ms, from_s, old, kind)
    if kind == TOO_LATE:
        from_s, old = taught_before(draws, drive, rite, course, frame_ms, rehearsal)
        return too_late(draws, drive, rehearsal, course, frame_ms, from_s, old)
    if kind in (BROKEN_OFF, BROKEN_HOLDS):
        from_s, old = taught_before(draws, drive, rite, course, frame_ms, rehearsal)
        holds = kind == BROKEN_HOLDS
        return broken_off(draws, drive, rehearsal, course, frame_ms, from_s, old, broken_holds=holds)
    way = draws.index("way", 2)
    before = draws.index("old span", 1 + SPANS + DECLARED)
    taught = before if before <= SPANS else 0
    # Nothing is stored to the end: the plainest story, in which only the claim about ranges has its say.
    course.aside = before == 0
    if kind in STORED:
        # Of two whole records the newer one counts, wherever it lies.
        taught, course.aside = 1 + before % SPANS, True
    old, new, telling = ranges(draws, drive, rite, taught, way, one_way=before == 0)
    from_s = 0.0
    if taught:
        from_s = learn(course, rite, frame_ms, 0.0, old) + storing_s(rehearsal.store_s)
    at_s = hold_at(course, drive, rehearsal, frame_ms, from_s, old.neutral, telling.seen_us)
    # A rotor that still turns keeps the drive from learning for longer than the stick stays up.
    course.step(at_s, old.neutral)
    at_s = round(at_s + STOP_S, 4)
    back_s = course.fault("power cut", at_s, draws.pick("off for", (30.0, 100.0, 5.0)))
    course.step(at_s, new.high)
    if kind in INTERRUPTED:
        back_s = _interrupted(draws, course, drive, frame_ms, back_s, new)
    # A stick may stay for longer than it must.
    lingers = {1: 0, 2: 1}.get(draws.index("lingers at", 4))
    creeps = 1 + draws.index("creeps to", len(rite.order) - 1) if kind == CREEPING else None
    done_s = learn(course, rite, frame_ms, back_s, new, creeps=creeps, lingers=lingers)
    kind_of_cut = draws.pick("cut by", CUT_BY)
    cut_s = done_s + _phase_s(draws, rehearsal.store_s, whole_bytes=before == 0)
    if kind in STORED:
        cut_s = done_s + storing_s(rehearsal.store_s)
    if kind == CREEPING:
        back_s = cut_s  # no new start: what was learnt is in force as soon as it is said to be stored
    elif kind_of_cut == "reset":
        back_s = course.fault("reset", cut_s)
    elif kind_of_cut == "power cut":
        back_s = course.fault("power cut", cut_s, draws.pick("cut for", (30.0, 5.0, 100.0)))
    else:
        course.aside = True
        # The bus capacitor feeds the controller on; it is to end within the writing.
        begin_s = max(cut_s - fall_s(drive), 0.0)
        back_s = course.fault("supply gap", begin_s, round((cut_s - begin_s) * 1000.0 + 60.0))
    if draws.index("stick at restart", 4) == 1:
        # High for less than the rite: neither calibration nor drive may come of it.
        course.step(cut_s, new.high)
        back_s += 0.2
    middle_us = round((old.neutral + new.neutral) / 2.0)
    at_s = hold_at(course, drive, rehearsal, frame_ms, back_s, middle_us, telling.told_us)
    course.end_s = round(at_s + 0.05, 4)
    if not taught and before:
        # What the cut left behind must not be in the way of the next one.
        course.step(at_s, old.neutral)
        from_s = course.fault("power cut", at_s + 0.05, 30.0)
        course.end_s = round(learn(course, rite, frame_ms, from_s, new) + storing_s(rehearsal.store_s), 4)
    return course


def _given_up(
    draws: Draws,
    drive: Drive,
    rehearsal: Rehearsal,
    course: Course,
    frame_ms: float,
    from_s: float,
    old: Positions,
    kind: int,
) -> Course:
    """Positions that make no range, or no position at all until time is up; then the old range drives.

    Either half may be too narrow, or too wide: one after the other, with a power cut between them.
    """
    rite = drive.calibration or DEFAULT
    # Entry needs a high stick, so neutral moves.
    neutral_us = rite.enter_us + 20.0 - rite.span_min_us + 40.0
    narrow = Positions(rite.enter_us + 20.0, neutral_us, neutral_us - 350.0)
    narrow_below = Positions(1900.0, 1500.0, 1500.0 - rite.span_min_us + 40.0)
    wide_us = min(drive.throttle.valid_high_us - 10.0, 1480.0 + rite.span_max_us + 15.0)
    wide = Positions(wide_us, wide_us - rite.span_max_us - 15.0, 1100.0)
    low_us = max(drive.throttle.valid_low_us + 10.0, 1620.0 - rite.span_max_us - 15.0)
    wide_below = Positions(1900.0, low_us + rite.span_max_us + 15.0, low_us)
    # Spans as they should be, so that only the order is wrong.
    upside_down = Positions(1900.0, 1300.0, 1600.0)
    for_ever = kind == FOR_EVER
    before = {GIVEN_UP_NARROW: narrow_below, GIVEN_UP: wide_below}.get(kind)
    if before:
        from_s = learn(course, rite, frame_ms, from_s, before) + STORING_S + SETTLE_S
        from_s = course.fault("power cut", from_s, 30.0)
    positions = {GIVEN_UP_NARROW: narrow, GIVEN_UP: wide, FOR_EVER: wide, UPSIDE_DOWN: upside_down}[kind]
    done_s = learn(course, rite, frame_ms, from_s, positions, frames=8 if for_ever else rite.hold_frames)
    at_s = done_s + STORING_S + SETTLE_S
    if for_ever:
        # The stick goes on moving between two positions that are never held for long enough.
        step_s = (rite.hold_frames - 8) * frame_ms / 1000.0
        last_s = from_s + START_UP_S + (rite.enter_frames + 2) * frame_ms / 1000.0 + rite.timeout_s + 0.5
        # But once, halfway through: a position that is learnt gives no more time.
        once = 2 * round(rite.timeout_s / step_s / 4.0)
        # The last position is not held either: with a second and a third one all would be over.
        at_s = round((done_s - step_s) * 1000.0 / frame_ms) * frame_ms / 1000.0
        for k in count():
            if at_s > last_s:
                break
            course.step(at_s, positions.low if k % 2 else positions.neutral)
            at_s += step_s if k != once else rite.hold_frames * frame_ms / 1000.0 + SETTLE_S
    return drives_by(draws, drive, rehearsal, course, frame_ms, at_s, old)


def _interrupted(
    draws: Draws, course: Course, drive: Drive, frame_ms: float, from_s: float, at: Positions
) -> float:
    """A calibration from power-on at `from_s`, ended by a reset before it writes; returns the next power-on.

    After the reset the stick goes high, as for a calibration, which an external reset must not enter; and
    again after a brown-out.
    """
    begun, rite = Course([], 0.0), drive.calibration or DEFAULT
    done_s = learn(begun, rite, frame_ms, from_s, at)
    share = draws.index("cut at", 20) / 20.0
    cut_s = from_s + (0.2 + 0.8 * share) * (done_s - from_s) - 0.02 + draws.index("cut ms", 20) / 1000.0
    course.throttle_us += [(t_s, us) for t_s, us in begun.throttle_us if t_s < cut_s]
    course.fault("reset", cut_s)
    course.step(cut_s, at.high)
    long_s = START_UP_S + (rite.enter_frames + 10) * frame_ms / 1000.0
    gap_ms = round(draws.pick("gap of falls", GAP_FALLS) * fall_s(drive) * 1000.0)
    again_s = course.fault("supply gap", cut_s + long_s, gap_ms) + long_s
    return course.fault("power cut", again_s, 30.0)


def calibration_alone(drive: Drive) -> tuple[Scenario, float]:
    """A calibration to the declared range, for the rehearsal, and the end of the last pulse it needs."""
    rite = drive.calibration or DEFAULT
    course, frame_ms = Course([(0.0, 0.0)], 0.0), 10.0
    positions = positions_of(rite, spans_of(drive, rite)[0], drive.throttle.neutral_us)
    done_s = learn(course, rite, frame_ms, 0.0, positions)
    scenario = Scenario(
        seed=0,
        end_s=round(done_s + 1.0, 4),
        rest_deg=0.0,
        frame_ms=frame_ms,
        throttle_us=tuple(dict(sorted(course.throttle_us)).items()),
    )
    return scenario, done_s


def _phase_s(draws: Draws, store_s: Spans, *, whole_bytes: bool) -> float:
    """A moment within a write, from the last pulse on: any write, any of a thousand phases of it.

    Every other time it is the beginning, with the bytes before whole and this one as it was.
    """
    share = BEGINNING
    if draws.index("within", 2):
        share = draws.index("phase", 100) / 100.0 + draws.index("finer phase", 10) / 1000.0
    if whole_bytes:
        share = BEGINNING
    if not store_s:
        return share * STORING_S
    # A choice has so many values at most; with more writes some are left out.
    choices = min(len(store_s), MAX_VALUES)
    begin_s, end_s = store_s[draws.index("write", choices) * len(store_s) // choices]
    return begin_s + share * (end_s - begin_s)
