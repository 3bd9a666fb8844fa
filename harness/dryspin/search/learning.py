"""Calibration: ranges learnt, given up, and cut off while they are being written.

A scenario holds what is needed to tell the old range from the new one afterwards: it drives under the
old range at two positions, and after the cut at one whose share of the stick's way is the one under
the old range and the other under the new.
"""

from dataclasses import dataclass
from itertools import count

from dryspin.drive import Calibration, Drive
from dryspin.scenario import Scenario
from dryspin.search.course import RARE, START_UP_S, Course, armed_s, fall_s
from dryspin.search.draws import MAX_VALUES, Draws
from dryspin.search.rehearsal import Rehearsal, Spans

SETTLE_S = 0.1
"""Beyond the declared frames, for a short tone and a frame cut in half."""

STORING_S = 0.25
"""From the last pulse to a complete store, where no rehearsal has shown it."""

DRIVE_S, CHANGE_S = 0.9, 0.6
"""A demand is to be seen for: start and 0.4 s at a steady duty; a change of it, likewise."""

READY_S = 0.3
"""The tone that may follow the rite."""

SPANS = 4
"""Distances of full stick from neutral to choose from; no two give one position the same duty."""

SHIFTS_US = (0.0, -10.0, 10.0)
"""Of the learnt neutral: inside every dead band, so that the stick arms whichever range is in force."""

DEFAULT = Calibration(1700.0, 100, ("high", "neutral", "low"), 25, 15.0, 10.0, 200.0, 700.0)
"""For a drive that declares none: its firmware is to do nothing of the kind."""

CUT_BY = (*("power cut", "power cut", "reset") * 4, "supply gap")
"""A gap is rare: what the bus capacitor lasts depends on supply and tones, so that it mostly misses."""

INNER = 0.72
"""Share of the narrower way at which old and new range are told apart."""


@dataclass(frozen=True)
class Positions:
    """Where the stick is held: high, neutral, low, in us."""

    high: float
    neutral: float
    low: float

    def forward(self, drive: Drive) -> float:
        """Full forward of the range that these positions teach."""
        return self.high if drive.throttle.forward_full_us > drive.throttle.neutral_us else self.low


def calibration(draws: Draws, drive: Drive, frame_ms: float, rehearsal: Rehearsal) -> Course:
    """Two calibrations, the second cut off in its writing (rarely at a second try); or one given up."""
    kind = draws.index("kind", 12)
    rite = drive.calibration or DEFAULT
    spans_us = spans_of(drive, rite)
    course = Course([(0.0, 0.0)], 0.0)
    if kind == RARE:
        return _given_up(draws, drive, rite, course, frame_ms)
    neutral_us = drive.throttle.neutral_us + draws.pick("shift", SHIFTS_US)
    first = draws.index("old span", SPANS)
    old = positions_of(spans_us[first], neutral_us)
    new = positions_of(spans_us[(first + 1 + draws.index("new span", SPANS - 1)) % SPANS], neutral_us)
    done_s = learn(course, rite, frame_ms, 0.0, old)
    stored_s = done_s + storing_s(rehearsal.store_s)
    way = draws.index("way", 2)
    at_s = drive_at(course, drive, frame_ms, stored_s, old, telling_shares(drive, old, new), way)
    back_s = course.fault("power cut", at_s, draws.pick("off for", (30.0, 100.0, 5.0)))
    course.step(at_s, new.high)
    if kind == RARE + 1:
        back_s = _interrupted(draws, course, rite, frame_ms, back_s, new)
    done_s = learn(course, rite, frame_ms, back_s, new)
    kind_of_cut = draws.pick("cut by", CUT_BY)
    cut_s = done_s + _phase_s(draws, rehearsal.store_s)
    if kind_of_cut == "reset":
        back_s = course.fault("reset", cut_s)
    elif kind_of_cut == "power cut":
        back_s = course.fault("power cut", cut_s, draws.pick("cut for", (30.0, 5.0, 100.0)))
    else:
        # The bus capacitor feeds the controller on; it is to end within the writing.
        begin_s = max(cut_s - fall_s(drive), 0.0)
        back_s = course.fault("supply gap", begin_s, round((cut_s - begin_s) * 1000.0 + 60.0))
    if draws.index("stick at restart", 4) == 1:
        # High for less than the rite: neither calibration nor drive may come of it.
        course.step(cut_s, new.high)
        back_s += 0.2
    at_s = drive_at(course, drive, frame_ms, back_s, old, (telling_share(drive, old, new),), way)
    course.end_s = at_s
    return course


def _given_up(draws: Draws, drive: Drive, rite: Calibration, course: Course, frame_ms: float) -> Course:
    """Positions that make no range, or no position at all until time is up; then the old range drives."""
    # Entry needs a high stick, so neutral moves.
    neutral_us = rite.enter_us + 20.0 - rite.span_min_us + 40.0
    narrow = Positions(rite.enter_us + 20.0, neutral_us, neutral_us - 350.0)
    wide_us = min(drive.throttle.valid_high_us - 10.0, 1480.0 + rite.span_max_us + 15.0)
    wide = Positions(wide_us, wide_us - rite.span_max_us - 15.0, 1100.0)
    upside_down = Positions(1900.0, 1100.0, 1500.0)
    for_ever = draws.index("for ever", 6) == 1
    positions = draws.pick("positions", (narrow, wide, upside_down))
    done_s = learn(course, rite, frame_ms, 0.0, positions, frames=8 if for_ever else rite.hold_frames)
    at_s = done_s + STORING_S + SETTLE_S
    if for_ever:
        # The stick goes on moving between two positions that are never held for long enough.
        step_s = (rite.hold_frames - 8) * frame_ms / 1000.0
        last_s = START_UP_S + (rite.enter_frames + 2) * frame_ms / 1000.0 + rite.timeout_s + 0.5
        for k in count():
            at_s = done_s + k * step_s
            if at_s > last_s:
                break
            course.step(at_s, positions.low if k % 2 else positions.neutral)
    course.step(at_s, drive.throttle.neutral_us)
    full = Positions(
        drive.throttle.forward_full_us, drive.throttle.neutral_us, drive.throttle.reverse_full_us
    )
    course.end_s = drive_at(course, drive, frame_ms, at_s, full, (0.6,), draws.index("way", 2))
    return course


def _interrupted(
    draws: Draws, course: Course, rite: Calibration, frame_ms: float, from_s: float, at: Positions
) -> float:
    """A calibration from power-on at `from_s`, ended by a reset before it writes; returns the next power-on.

    After the reset the stick goes high, as for a calibration, which an external reset must not enter.
    """
    begun = Course([], 0.0)
    done_s = learn(begun, rite, frame_ms, from_s, at)
    share = draws.index("cut at", 20) / 20.0
    cut_s = from_s + (0.2 + 0.8 * share) * (done_s - from_s) - 0.02 + draws.index("cut ms", 20) / 1000.0
    course.throttle_us += [(t_s, us) for t_s, us in begun.throttle_us if t_s < cut_s]
    course.fault("reset", cut_s)
    course.step(cut_s, at.high)
    again_s = cut_s + START_UP_S + (rite.enter_frames + 10) * frame_ms / 1000.0
    return course.fault("power cut", again_s, 30.0)


def calibration_alone(drive: Drive) -> tuple[Scenario, float]:
    """A calibration to the declared range, for the rehearsal, and the end of the last pulse it needs."""
    rite = drive.calibration or DEFAULT
    course, frame_ms = Course([(0.0, 0.0)], 0.0), 10.0
    positions = positions_of(spans_of(drive, rite)[0], drive.throttle.neutral_us)
    done_s = learn(course, rite, frame_ms, 0.0, positions)
    scenario = Scenario(
        seed=0,
        end_s=round(done_s + 1.0, 4),
        rest_deg=0.0,
        frame_ms=frame_ms,
        throttle_us=tuple(dict(sorted(course.throttle_us)).items()),
    )
    return scenario, done_s


def learn(
    course: Course,
    rite: Calibration,
    frame_ms: float,
    from_s: float,
    at: Positions,
    frames: int | None = None,
) -> float:
    """Stick movements of one calibration from power-on at `from_s`; returns the last pulse it needs.

    `frames`: hold each position for so many only.
    """
    frame_s = frame_ms / 1000.0
    hold_s = (rite.hold_frames if frames is None else frames) * frame_s
    hold_s += SETTLE_S if frames is None or frames >= rite.hold_frames else 0.0
    widths = {"high": at.high, "neutral": at.neutral, "low": at.low}
    course.step(from_s, at.high)
    at_s = from_s + START_UP_S + (rite.enter_frames + 2) * frame_s + SETTLE_S
    for position in rite.order:
        # Steps lie between two pulses: pulse k rises half a frame after k frames.
        at_s = round(at_s / frame_s) * frame_s
        course.step(at_s, widths[position])
        begun_s = at_s
        at_s += hold_s
    last_us = widths[rite.order[-1]]
    return round(begun_s + (rite.hold_frames - 0.5) * frame_s + last_us * 1e-6, 7)


def storing_s(store_s: Spans) -> float:
    """From the last pulse to when the stick may move on."""
    return max(store_s[-1][1] + SETTLE_S, STORING_S) if store_s else STORING_S + SETTLE_S


def _phase_s(draws: Draws, store_s: Spans) -> float:
    """A moment within a write, from the last pulse on: any write, any of a thousand phases of it."""
    # From the middle of a write on, so that the simplest choice is surely within it.
    share = ((draws.index("phase", 100) + 50) % 100) / 100.0 + draws.index("finer phase", 10) / 1000.0
    if not store_s:
        return share * STORING_S
    # A choice has so many values at most; with more writes some are left out.
    choices = min(len(store_s), MAX_VALUES)
    begin_s, end_s = store_s[draws.index("write", choices) * len(store_s) // choices]
    return begin_s + share * (end_s - begin_s)


def drive_at(
    course: Course,
    drive: Drive,
    frame_ms: float,
    from_s: float,
    at: Positions,
    shares: tuple[float, ...],
    way: int,
) -> float:
    """Arm from `from_s` on, then hold the stick at shares of its way; returns when all were held."""
    course.step(from_s, at.neutral)
    at_s = from_s + armed_s(frame_ms) + READY_S
    full_us = at.forward(drive) if way == 0 else at.high + at.low - at.forward(drive)
    for k, share in enumerate(shares):
        course.step(at_s, _width(drive, at.neutral, full_us, share))
        at_s += CHANGE_S if k else DRIVE_S
    course.step(at_s, at.neutral)
    return round(at_s + 0.05, 4)


def spans_of(drive: Drive, rite: Calibration) -> tuple[float, ...]:
    """Distances of full stick, the widest first: sane, and high enough to ask for calibration."""
    throttle = drive.throttle
    least_us = max(rite.span_min_us, rite.enter_us - throttle.neutral_us) + 60.0
    room_us = min(throttle.valid_high_us - throttle.neutral_us, throttle.neutral_us - throttle.valid_low_us)
    most_us = max(min(rite.span_max_us, room_us) - 200.0, least_us + 80.0)
    step_us = (most_us - least_us) / (SPANS - 1)
    return tuple(round(most_us - k * step_us) for k in range(SPANS))


def positions_of(span_us: float, neutral_us: float) -> Positions:
    """The same span on either side of neutral, us."""
    return Positions(neutral_us + span_us, neutral_us, neutral_us - span_us)


def _width(drive: Drive, neutral_us: float, full_us: float, share: float) -> float:
    """Pulse width at a share of the way from the edge of the dead band to full."""
    band_us = drive.throttle.dead_band_us if full_us > neutral_us else -drive.throttle.dead_band_us
    return float(round(neutral_us + band_us + share * (full_us - neutral_us - band_us)))


def telling_shares(drive: Drive, old: Positions, new: Positions) -> tuple[float, float]:
    """Shares of the old range to be seen: what the telling position is under either range."""
    band_us = drive.throttle.dead_band_us
    ways_us = old.high - old.neutral - band_us, new.high - new.neutral - band_us
    inner_us = INNER * min(ways_us)
    return inner_us / max(ways_us), INNER


def telling_share(drive: Drive, old: Positions, new: Positions) -> float:
    """The telling position as a share of the old range."""
    outer, inner = telling_shares(drive, old, new)
    return inner if old.high - old.neutral < new.high - new.neutral else outer
