"""Each limit is sharp: at four fifths of it the claim holds, at six fifths it objects."""

import math

import pytest

from dryspin.monitors import FAMILIES, LIMITS, Limits, Status, claims_of
from dryspin.recording import Leg, Mark, Signal

from .controller_cases import CASES as CONTROLLER_CASES
from .courtroom import Case, broken, verdicts
from .map_cases import CASES as MAP_CASES
from .rite_cases import CASES as RITE_CASES
from .synthetic import FRAME_S, NEUTRAL_US, Story, thruster
from .voyage import RAMP_S, Voyage, pulse_end_s, voyage

ALIGN_S = Voyage().align_at_s


def _dead_time(ns: float) -> Story:
    return voyage(reverse_at_s=1.1, end_s=2.1, brake_gap_s=ns * 1e-9)


def _high_on(seconds: float) -> Story:
    story = voyage()
    at_s = ALIGN_S + 0.02
    story.legs(at_s, Leg.OPEN, Leg.OPEN, Leg.OPEN)
    story.legs(at_s + 1e-4, Leg.HIGH, Leg.LOW, Leg.OPEN)
    story.legs(at_s + 1e-4 + seconds, Leg.OPEN, Leg.OPEN, Leg.OPEN)
    story.drive_step(at_s + 2e-4 + seconds, 0)
    return story


def _two_low(us: float) -> Story:
    story = voyage()
    story.edge(ALIGN_S + 0.02, Signal.LEG_W, Leg.LOW)
    story.edge(ALIGN_S + 0.02 + us * 1e-6, Signal.LEG_W, Leg.OPEN)
    return story


def _sense(signal: Signal, us: float) -> Story:
    """For `us`, the comparator is set to something else while its interrupt is on."""
    story = voyage()
    crossings_s = [
        t for t, s, value in story.edges if s == Signal.MARK and value == Mark.CROSSING and t > 1.2
    ]
    at_s = crossings_s[0]
    now = [(t, value) for t, s, value in story.edges if s == signal and t < at_s]
    right = max(now)[1]
    wrong = 1 - right if signal == Signal.SENSE_EDGE else (right + 1) % 3
    story.edge(at_s - 1e-6 - us * 1e-6, signal, wrong)
    story.edge(at_s - 1e-6, signal, right)
    return story


def _no_signal(seconds: float) -> Story:
    """The last pulse ends, and the legs go on for `seconds`."""
    last_s = pulse_end_s(1.19, 1900.0)
    story = Voyage(neutral_at_s=1.2, end_s=1.8, steps_go_on_s=last_s + seconds - pulse_end_s(1.2, NEUTRAL_US))
    told = story.story()
    told.throttle[-1] = (1.2, 0.0)
    return told


def _armed_after(count: float, bad_frame: int | None = None) -> Story:
    """Armed a moment after that many neutral pulses (since the bad one), then the ideal voyage."""
    first = 0 if bad_frame is None else bad_frame + 1
    story = voyage(
        armed_s=(first + count - 0.5) * FRAME_S + NEUTRAL_US * 1e-6 + 0.002, asks_at_s=0.8, end_s=1.6
    )
    if bad_frame is not None:
        story.throttle += [(bad_frame * FRAME_S, 2300.0), ((bad_frame + 1) * FRAME_S, NEUTRAL_US)]
    return story


def _lasts(seconds: float) -> Story:
    """One of many neutral pulses is missing, and it is armed that long after the next one."""
    story = voyage(armed_s=21.5 * FRAME_S + NEUTRAL_US * 1e-6 + seconds, asks_at_s=0.8, end_s=1.6)
    story.throttle += [(20 * FRAME_S, 0.0), (21 * FRAME_S, NEUTRAL_US)]
    return story


def _moved(degrees: float) -> Story:
    """Before arming the rotor turns by `degrees`, electrical, and back."""
    peak_rpm = degrees / 7 / 0.05 / 6.0
    story = voyage()
    story.speeds += [(0.2, 0.0), (0.25, peak_rpm), (0.3, 0.0), (0.35, -peak_rpm), (0.4, 0.0)]
    return story


def _joins(seconds: float, push_nm: float = -0.01) -> Story:
    """The water turns the rotor forward when forward is asked for; a load below zero pushes."""
    # 26 whole electrical turns, so that the voyage goes on where it would have begun.
    rpm = 60.0 * 26.0 / (7.0 * 0.11)
    story = voyage(start_takes_s=seconds, end_s=1.7)
    story.scenario["load_nm"] = ((0.0, 0.0), (0.52, 0.0), (0.53, push_nm))
    story.speeds += [(0.52, 0.0), (0.53, rpm), (0.63, rpm), (0.64, 0.0)]
    return story


def _fails(count: int, pause_s: float = 0.25) -> Story:
    start_s = count * (pause_s + 0.01) + 0.3
    return voyage(fails=count, pause_s=pause_s, start_takes_s=start_s, end_s=1.2 + start_s)


def _turning_start(rpm: float) -> Story:
    """The rotor turns at `rpm` when the stick asks and when the try begins."""
    story = voyage()
    story.speeds += [(0.55, 0.0), (0.56, rpm), (ALIGN_S - 1e-3, rpm), (ALIGN_S, rpm), (ALIGN_S + 1e-3, 0.0)]
    story.speeds.remove((ALIGN_S, 0.0))
    return story


def _knocked(rpm: float) -> Story:
    """The rotor swings back and forth, and passes where it stood at `rpm` as the try begins."""
    story = voyage()
    story.speeds.remove((ALIGN_S, 0.0))
    for k, speed_rpm in ((-3, 0.0), (-2, -rpm), (-1, 0.0), (0, rpm), (1, 0.0)):
        story.speeds.append((ALIGN_S + k * 1e-3, speed_rpm))
    return story


def _precharged(seconds: float, gap_s: float = 2e-5, rpm: float = 0.0) -> Story:
    """All low FETs are on for `seconds`, `gap_s` before the start of a rotor that turns at `rpm`."""
    story = _turning_start(rpm) if rpm else voyage()
    from_s = ALIGN_S - gap_s - seconds
    story.mark(from_s, Mark.PRECHARGE)
    story.legs(from_s, Leg.LOW, Leg.LOW, Leg.LOW)
    story.legs(ALIGN_S - gap_s, Leg.OPEN, Leg.OPEN, Leg.OPEN)
    return story


def _silent(seconds: float) -> Story:
    """A try that fails, and `seconds` until it is given up."""
    story = Story(end_s=1.0 + seconds + 0.5)
    story.mark(0.001, Mark.OFF)
    story.edge(0.001, Signal.DUTY, 128)
    story.mark(0.515, Mark.ARMED)
    story.throttle.append((0.6, 1900.0))
    story.mark(0.7, Mark.ALIGN)
    story.drive_step(0.7, 0)
    story.stop(0.8, Mark.COAST)
    story.mark(0.8 + seconds, Mark.GIVEN_UP)
    return story


def _peak(amps: float = 0.0, volts: float = 11.1) -> Story:
    story = voyage(reverse_at_s=1.1, end_s=2.1)
    story.currents.append((1.15, -amps))
    story.voltages.append((1.15, volts))
    return story


HOT_S = 1.4
"""The last turns of the voyage lie after it; before, nothing flows."""


def _warm(amps: float) -> Story:
    story = voyage()
    story.current_spans.append((HOT_S, story.end_s + 1e-3, amps))
    return story


def _winding(end_c: float) -> Story:
    """P = (T - Ta) / Rth / (1 + a (T - 20)) in two windings of 0.08 ohm."""
    loss_w = (end_c - 40.0) / 6.0 / (1.0 + 0.00393 * (end_c - 20.0))
    return _warm(math.sqrt(loss_w / (2.0 * 0.08)))


def _junction(end_c: float) -> Story:
    """The low FET of U: on for a third of the time, its diode for another and in the pauses of chopping."""
    loss_w, diode, on = (end_c - 40.0) / 30.0, 0.7 * (1 / 3 + 0.1 / 3), 5e-3 / 3
    return _warm((-diode + math.sqrt(diode**2 + 4.0 * on * loss_w)) / (2.0 * on))


def _ripple(amps: float) -> Story:
    """Ripple is in proportion to the current, at the same legs."""
    per_amp = verdicts(_warm(1.0).recording())["electrical.ripple"].seen
    assert per_amp
    return _warm(amps / per_amp)


def _once(amps: float = 0.0, volts: float = 11.1) -> Story:
    """In a run, for one moment."""
    story = voyage()
    story.currents.append((1.15, amps))
    story.voltages.append((1.15, volts))
    return story


CASES = [
    Case("gates.dead_time", "dead_time_ns", _dead_time, minimum=True),
    Case("gates.high_on_time", "high_on_max_s", _high_on),
    Case("gates.pattern", "transition_us", _two_low),
    Case("commutation.sensed_phase", "transition_us", lambda us: _sense(Signal.SENSE_LEG, us)),
    Case("commutation.sensed_edge", "transition_us", lambda us: _sense(Signal.SENSE_EDGE, us)),
    Case(
        "commutation.direction",
        "demand_act_s",
        # Measured from the last pulse that asked for it, a frame before the first that did not.
        lambda s: voyage(reverse_at_s=1.1, steps_go_on_s=s - FRAME_S, reversal_takes_s=0.6, end_s=2.1),
    ),
    Case("commutation.angle", "step_late_deg", lambda deg: voyage(late_deg=deg)),
    Case("commutation.angle", "step_early_deg", lambda deg: voyage(late_deg=-deg)),
    Case("commutation.false_crossings", "crossing_deg", lambda deg: voyage(crossing_late_deg=deg)),
    Case("commutation.false_crossings", "crossing_deg", lambda deg: voyage(crossing_late_deg=-deg)),
    Case("startup.in_time", "start_s", lambda s: voyage(start_takes_s=s, end_s=1.7)),
    Case("startup.in_time", "start_s", _joins),
    Case("startup.swing_back", "swing_back_deg", lambda deg: voyage(swing_back_deg=deg)),
    Case("startup.at_rest", "turning_rpm", _knocked),
    Case("startup.charged", "charge_s", _precharged, minimum=True),
    Case("startup.tries", "tries", lambda n: _fails(round(n) - 1), given={"start_s": 9.0}),
    Case("startup.tries", "cool_down_s", lambda s: _fails(1, s), minimum=True, given={"start_s": 9.0}),
    Case("startup.tries", "retry_s", _silent, given={"start_s": 9.0}),
    Case(
        "startup.standstill",
        "standstill_s",
        # The ramp's first 20 ms turn the rotor by less than two steps.
        lambda s: voyage(align_s=s - 0.02, start_takes_s=s + RAMP_S + 0.02, end_s=2.2),
        # A start this slow has not come to full duty by then.
        given={"start_s": 9.0, "full_share": 0.01},
    ),
    Case(
        "reversal.opposing_drive",
        "opposing_rpm",
        lambda rpm: voyage(reverse_at_s=1.1, end_s=2.1, opposing_rpm=rpm),
        given={"cool_down_s": 1e-4},
    ),
    # A peak in a reversal is a peak at any time, and at the pins.
    Case("reversal.phase_current", "i_peak_a", lambda a: _peak(amps=a), also=("electrical.phase_current",)),
    Case(
        "reversal.bus_voltage",
        "bus_v",
        lambda v: _peak(volts=v),
        also=("electrical.bus_voltage", "electrical.sense_pin"),
    ),
    Case("reversal.in_time", "reversal_s", lambda s: voyage(reverse_at_s=1.1, end_s=2.4, reversal_takes_s=s)),
    Case(
        "reversal.neutral",
        "demand_act_s",
        lambda s: voyage(neutral_at_s=1.1, steps_go_on_s=s, end_s=2.0),
        # The steps also go a way the stick no longer asks for.
        also=("commutation.direction",),
    ),
    Case("arming.rite", "arm_frames", _armed_after, minimum=True),
    Case("arming.lasting", "arm_s", _lasts, minimum=True),
    Case("arming.bad_pulses", "arm_frames", lambda n: _armed_after(n, bad_frame=9), minimum=True),
    Case(
        "arming.loss",
        "loss_s",
        _no_signal,
        # What drives on without a signal also drives on without a demand.
        also=("commutation.direction",),
    ),
    Case("arming.rotor_still", "idle_deg", _moved),
    Case("electrical.phase_current", "i_peak_a", lambda a: _once(amps=a)),
    Case("electrical.bus_voltage", "bus_v", lambda v: _once(volts=v), given={"pin_beyond_v": 9.0}),
    # At the pin 10/43 of terminal and diode, and the controller's 5 V below it.
    Case(
        "electrical.sense_pin",
        "pin_beyond_v",
        lambda v: _once(volts=(5.0 + v) * 4.3 - 0.7),
        given={"bus_v": 99.0},
    ),
    Case("electrical.winding_heat", "winding_c", _winding, given={"junction_c": 9e9, "ripple_a": 9e9}),
    Case("electrical.fet_heat", "junction_c", _junction, given={"winding_c": 9e9, "ripple_a": 9e9}),
    Case("electrical.ripple", "ripple_a", _ripple, given={"winding_c": 9e9, "junction_c": 9e9}),
    *RITE_CASES,
    *MAP_CASES,
    *CONTROLLER_CASES,
]

PRECONDITIONS = [
    # A rotor that turns is not started from rest.
    ("startup.in_time", "rest_rpm", lambda rpm: _turning_start(rpm), False),
    ("startup.swing_back", "rest_rpm", lambda rpm: _turning_start(rpm), False),
    # One that turns charges by itself.
    ("startup.charged", "rest_rpm", lambda rpm: _precharged(1e-3, rpm=rpm), False),
    # A slow rotor is not reversed, it is started the other way.
    ("reversal.opposing_drive", "reversal_share", lambda share: _reversal_at(share), True),
    ("reversal.phase_current", "reversal_share", lambda share: _reversal_at(share), True),
    ("reversal.bus_voltage", "reversal_share", lambda share: _reversal_at(share), True),
    ("reversal.in_time", "reversal_share", lambda share: _reversal_at(share), True),
]


def _reversal_at(share: float) -> Story:
    return voyage(reverse_at_s=1.1, end_s=2.1, top_rpm=share * 1000.0 * 11.1)


@pytest.mark.parametrize("case", CASES, ids=str)
def test_a_claim_holds_at_four_fifths_and_objects_at_six_fifths_of_its_limit(case):
    """A limit that is not felt there is no limit; the margin tells the search how far it is."""
    limit = Limits(thruster())[case.limit]
    inner, outer = (1.2, 0.8) if case.minimum else (0.8, 1.2)
    good = verdicts(case.make(inner * limit).recording(), **case.given)
    bad = verdicts(case.make(outer * limit).recording(), **case.given)

    assert good[case.claim].status == Status.HELD
    assert broken(good) == set()
    assert bad[case.claim].status == Status.BROKEN
    assert broken(bad) - set(case.also) == {case.claim}
    # Half a carrier period, a frame or a step may lie between what was written and what is seen.
    assert good[case.claim].margin == pytest.approx(0.2, abs=0.06)
    assert bad[case.claim].margin == pytest.approx(-0.2, abs=0.06)
    assert bad[case.claim].limit == pytest.approx(limit)


@pytest.mark.parametrize(("claim", "limit", "make", "exercised_above"), PRECONDITIONS)
def test_a_precondition_is_met_on_one_side_of_its_limit_only(claim, limit, make, exercised_above):
    """What a claim is not about must show as not exercised, not as held."""
    value = Limits(thruster())[limit]
    below, above = (verdicts(make(share * value).recording())[claim] for share in (0.8, 1.2))

    assert (above if exercised_above else below).status == Status.HELD
    assert (below if exercised_above else above).status == Status.NOT_EXERCISED


def test_every_limit_of_every_claim_has_been_shown_sharp():
    """A new limit without a case here is a limit nobody has seen object."""
    used = {
        (f"{family}.{claim.name}", limit)
        for family in FAMILIES
        for claim in claims_of(family)
        for limit in claim.limits
    }
    shown = {(case.claim, case.limit) for case in CASES} | {
        (claim, limit) for claim, limit, *_ in PRECONDITIONS
    }
    # Limits that only set the window of a claim whose own limit is shown.
    windows = {
        ("commutation.order", "transition_us"),
        ("reversal.phase_current", "reversal_s"),
        ("reversal.bus_voltage", "reversal_s"),
        ("reversal.in_time", "opposing_rpm"),
        ("arming.rite", "loss_s"),
        ("arming.bad_pulses", "loss_s"),
        ("arming.accepted", "rest_rpm"),
        ("arming.kept", "loss_s"),
        ("calibration.entry", "loss_s"),
        ("calibration.let_in", "rest_rpm"),
        ("startup.off_and_said", "rest_rpm"),
        ("startup.charged", "high_on_max_s"),
        ("startup.charged", "transition_us"),
        ("throttle_map.full", "demand_act_s"),
        ("synchronism.lost_drive", "rest_rpm"),
        ("synchronism.recovers", "rest_rpm"),
        ("synchronism.recovers", "cool_down_s"),
        ("synchronism.keeps", "demand_act_s"),
        ("synchronism.joining", "rest_rpm"),
        ("calibration.completed", "rest_rpm"),
        ("tones.still", "rest_rpm"),
        ("tones.pitch", "demand_act_s"),
        ("tones.pattern", "demand_act_s"),
    }

    assert used - shown == windows
    assert {limit for _, limit in shown} == set(LIMITS)


def test_a_rotor_pushed_against_what_is_asked_may_take_its_time():
    """It is to be stopped first, against the water; how long that takes, nobody can promise."""
    verdict = verdicts(_joins(0.9, push_nm=0.01).recording())["startup.in_time"]

    assert verdict.status == Status.NOT_EXERCISED
