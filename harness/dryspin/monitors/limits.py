"""Every default limit once: value, unit, physical reason. `claims.toml` may set another, with a why.

A value that belongs to the drive (dead time, peak current) is taken from `drive.toml`.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from dryspin.drive import Claims, Drive
from dryspin.drive.checks import PIN_BEYOND_V
from dryspin.errors import ClaimsError


@dataclass(frozen=True, slots=True)
class Limit:
    """A default limit: a value, or how it follows from the drive; its unit; why it is what it is."""

    value: float | Callable[[Drive], float]
    unit: str
    reason: str


REST_RPM = 60.0

OFFSET_COVER = 1.25


def hidden_rpm(drive: Drive) -> float:
    """Speed, mechanical, at which the EMF's flat top is `OFFSET_COVER` times the worst comparator offset.

    The comparator sees ratio 2/3 k w. At least the speed at which a rotor counts as at rest.
    """
    offset_v = OFFSET_COVER * max(abs(drive.sense.offset_v.low), abs(drive.sense.offset_v.high))
    w_rad_s = offset_v / (drive.sense.ratio * 2.0 / 3.0 * drive.motor.k_phase_v_s)
    return max(w_rad_s * 30.0 / math.pi, REST_RPM)


START_S = 0.7

LISTEN_S = 0.05

STOPS = 5.0

SLOWEST_FRAME_S = 0.025


def accepted_s(drive: Drive) -> float:
    """Neutral for so long arms, whatever the rite: 2 s, or a quarter more than drive.toml declares."""
    throttle = drive.throttle
    pulses_s = throttle.arming_frames.high * SLOWEST_FRAME_S if throttle.arming_frames else 0.0
    declared_s = max(pulses_s, throttle.arming_s.high if throttle.arming_s else 0.0)
    return max(2.0, 1.25 * declared_s)


def reversal_s(drive: Drive) -> float:
    """`STOPS` time constants of the heaviest rotor with shorted windings, then a look and a start.

    Two windings at a time carry k w / R each under the flat tops of their EMF: J dw/dt = -2 k^2 w / R.
    """
    r_ohm = drive.motor.r_phase_ohm.nominal + drive.bridge.r_on_ohm.nominal
    stop_s = drive.motor.j_kg_m2.high * r_ohm / (2.0 * drive.motor.k_phase_v_s**2)
    return STOPS * stop_s + LISTEN_S + START_S


LIMITS: Mapping[str, Limit] = {
    # ---- gates -----------------------------------------------------------------------------------
    "dead_time_ns": Limit(
        lambda drive: drive.bridge.dead_time_ns,
        "ns",
        "the bridge's own figure: the slower FET's turn-off plus the driver's skew",
    ),
    "high_on_max_s": Limit(
        lambda drive: drive.bridge.high_on_max_s,
        "s",
        "the bridge's own figure: the bootstrap capacitor feeds the high driver that long; a gate without "
        "one has its drive file say 1e6",
    ),
    "transition_us": Limit(
        10.0,
        "us",
        "three port calls, a dead time of 0.5 us and one handler between them take some 5 us; twice that. "
        "Diodes carry the current meanwhile, which costs 0.7 V, not torque",
    ),
    # ---- commutation -----------------------------------------------------------------------------
    "demand_act_s": Limit(
        0.3,
        "s",
        "from a stick that no longer asks for a direction to the last step in it: a lost-signal time of "
        "0.25 s and two frames of 25 ms to notice",
    ),
    "step_early_deg": Limit(
        20.0,
        "deg",
        "torque falls with the cosine: 20 electrical degrees cost 6 % and a tenth more ripple; more than "
        "30 lets the next phase conduct against its EMF",
    ),
    "step_late_deg": Limit(
        20.0,
        "deg",
        "as early; late also takes from the 30 degrees in which the outgoing current must end before the "
        "next crossing",
    ),
    "crossing_deg": Limit(
        15.0,
        "deg",
        "half of the 30 degrees between a crossing and the commutations on both sides: beyond it, noise or "
        "freewheeling was taken for a crossing",
    ),
    # ---- startup ---------------------------------------------------------------------------------
    "rest_rpm": Limit(
        REST_RPM,
        "rpm",
        "one turn a second: its EMF, 60 mV at 1000 rpm/V, hides below every comparator offset",
    ),
    "start_s": Limit(
        START_S,
        "s",
        "aligning takes the swing of a rotor in its well, 0.1 to 0.2 s, the ramp to a visible EMF as long "
        "again; as much once more for the heaviest water, none for a try that failed",
    ),
    "swing_back_deg": Limit(
        420.0,
        "deg",
        "by its energy a rotor let go at the dead point of a fixed field swings no further than to the "
        "other dead point, 360 electrical degrees; a second field may lie a step further. More is a slip",
    ),
    "tries": Limit(
        5.0,
        "",
        "each failed try heats winding and FETs for nothing; what does not start in five is blocked",
    ),
    "cool_down_s": Limit(
        0.2,
        "s",
        "junctions of FETs in small packages cool within some 0.1 s to the board, and a rotor knocked "
        "loose has come to rest",
    ),
    "retry_s": Limit(
        2.0,
        "s",
        "a failed start is either tried again or given up and said so; longer silence is neither",
    ),
    "charge_s": Limit(
        0.3e-3,
        "s",
        "a bootstrap capacitor of 1 uF behind a diode and 100 ohm: three time constants, 95 % of its "
        "voltage; common practice, no source",
    ),
    "standstill_s": Limit(
        1.0,
        "s",
        "15 g of copper (385 J/kg K) at the peak current of 40 A in two phases of 0.08 ohm, 256 W, warm by "
        "45 K a second",
    ),
    "give_up_s": Limit(
        6.0,
        "s",
        "five tries of 0.7 s with half a second to cool down after each: then it runs or is blocked",
    ),
    # ---- synchronism -----------------------------------------------------------------------------
    "lost_s": Limit(
        0.1,
        "s",
        "at the peak current of 40 A the copper warms by 5 K meanwhile, a FET's junction by some 10 K: "
        "a tenth of what a standing rotor may take, and as long again as the slowest steps need to tell",
    ),
    "recover_s": Limit(
        2.0,
        "s",
        "half a second to cool down, a quarter to brake and listen, 0.7 s to start, and half a second over",
    ),
    "join_a": Limit(
        lambda drive: drive.bridge.i_peak_max_a / 2.0,
        "A",
        "half of the bridge's own figure: a rotor that turns needs no torque of a start, and a duty that "
        "fits its EMF to a tenth of 12.6 V pushes 7 A through the 0.195 ohm of windings, FETs and pack; "
        "three times that is for duty in rough steps, other parts and the slew of the first turn",
    ),
    # ---- reversal --------------------------------------------------------------------------------
    "reversal_share": Limit(
        0.35,
        "",
        "a reversal counts from 70 % of half the ideal speed kv V: a propeller in water holds the rotor at "
        "some 70 % of kv V",
    ),
    "opposing_rpm": Limit(
        400.0,
        "rpm",
        "driving against the rotor adds its EMF to the bus: at 400 rpm (0.4 V at 1000 rpm/V) 2 A more in "
        "0.2 ohm, lost in the scatter; at full speed twice the stall current",
    ),
    "reversal_s": Limit(
        reversal_s,
        "s",
        "shorted windings stop the rotor in some five times J R / (2 k^2), with the heaviest J of the drive; "
        "listening whether it stands takes 0.05 s; then a start, 0.7 s",
    ),
    "i_peak_a": Limit(
        lambda drive: drive.bridge.i_peak_max_a, "A", "the bridge's own figure: FET and copper of the board"
    ),
    "bus_v": Limit(
        lambda drive: drive.bridge.v_max_v,
        "V",
        "the bridge's own figure: the lowest of FET, capacitor, regulator and divider",
    ),
    # ---- arming ----------------------------------------------------------------------------------
    "arm_frames": Limit(
        20.0,
        "",
        "0.4 s of neutral at 20 ms a frame: longer than a stick moved through neutral stays there",
    ),
    "arm_s": Limit(
        0.15,
        "s",
        "a stick swept from end to end in 0.75 s is inside a dead band of a tenth of its way for 75 ms; as "
        "long again. Fast frames bring many pulses in that time: 30 of 2.5 ms",
    ),
    "accepted_s": Limit(
        accepted_s,
        "s",
        "four times what 25 frames of 20 ms take: who keeps a stick still for longer takes the drive for "
        "dead. Where a longer rite is declared, a quarter more than that, at the slowest frame of 25 ms",
    ),
    "loss_s": Limit(
        0.25,
        "s",
        "ten frames of 25 ms: longer gaps are no gust of interference; a model boat goes less than half "
        "a metre",
    ),
    "idle_deg": Limit(
        30.0,
        "deg",
        "electrical; half a step: what a tone or a bootstrap charge may do to a resting rotor at most",
    ),
    "turning_rpm": Limit(
        hidden_rpm,
        "rpm",
        "where the top of the EMF outgrows the worst comparator offset by a quarter: a rotor that turns "
        "slower looks like one at rest to the controller, whatever it does to find out",
    ),
    # ---- calibration -----------------------------------------------------------------------------
    "let_in_s": Limit(
        0.3,
        "s",
        "beyond the declared pulses, and a second at least: looking for a tenth of a second whether the "
        "rotor is at rest, and a short tone under way; as much once more",
    ),
    "storing_s": Limit(
        1.0,
        "s",
        "beyond the time-out: a position just learnt, two records of 16 bytes at 3.4 ms each, and two short "
        "tones before the word is given",
    ),
    "stick_counts": Limit(
        12.0,
        "counts",
        "of 255: duty breathes by 3 % under a steady stick, and a straight line between two seen points is "
        "off by another 1 to 2 %",
    ),
    # ---- tones -----------------------------------------------------------------------------------
    "pitch_cents": Limit(
        5.0,
        "cents",
        "the least difference most ears tell; the timer's half microsecond is 1 cent at 1 kHz and far "
        "less on the mean of many pulses",
    ),
    "note_share": Limit(
        0.05,
        "",
        "of a note's length: a twentieth of a beat is the least unevenness that is heard",
    ),
    "tone_a": Limit(
        0.5,
        "A",
        "short pulses have four to five times their mean as root mean square: 2.3 A in two windings of "
        "0.08 ohm are 0.8 W, which 15 g of copper in still air shed at some 20 K above it",
    ),
    "tone_deg": Limit(
        10.0,
        "deg",
        "electrical; 1.4 degrees at the shaft, half a millimetre at the tip of a 40 mm propeller: no finger "
        "feels it. A pulse of 30 us moves a free rotor by a hundredth of a degree, the next one back",
    ),
    # ---- electrical ------------------------------------------------------------------------------
    "pin_beyond_v": Limit(
        PIN_BEYOND_V,
        "V",
        "above its supply and below ground a pin may stand that far: data sheet 8025I section 28.1, absolute "
        "maximum ratings. Beyond it the pin's diodes conduct",
    ),
    "winding_c": Limit(
        lambda drive: drive.heat.winding_max_c if drive.heat else 155.0,
        "C",
        "the motor's own figure: what the insulation of the winding bears for ever",
    ),
    "junction_c": Limit(
        lambda drive: drive.heat.fet_max_c if drive.heat else 150.0,
        "C",
        "the FET's own figure: above it the data sheet promises nothing",
    ),
    "ripple_a": Limit(
        lambda drive: drive.heat.ripple_max_a if drive.heat else 1.0,
        "A",
        "the capacitor's own figure: its series resistance turns ripple current into heat that dries it out",
    ),
    # ---- throttle map ----------------------------------------------------------------------------
    "map_counts": Limit(
        8.0,
        "counts",
        "of 255: duty breathes by 3 % under a steady stick; a hand does not feel less",
    ),
    "usable_steps": Limit(
        64.0,
        "",
        "a hand on a stick of 400 us a way tells some 2 % of it, eight microseconds: fewer than 50 steps are "
        "felt as steps, and a quarter more is left for a trimmed stick that does not reach its end",
    ),
    "full_share": Limit(
        0.8,
        "",
        "of full duty: a propeller's power goes with the cube of its speed, so that a fifth less duty takes "
        "half of the power that the stick asks for",
    ),
    # ---- controller ------------------------------------------------------------------------------
    "loop_s": Limit(
        0.15,
        "s",
        "a step that no longer changes stops the rotor and drives it at standstill: half as long again as a "
        "lost rotor may be driven: the watchdog's times are doublings, its oscillator off by a tenth",
    ),
    "latency_us": Limit(
        50.0,
        "us",
        "a step lasts some 110 us at the fastest the drive turns: half a step late, "
        "no delay can be set for it any more",
    ),
}


class Limits:
    """The limits of one drive, with those of its `claims.toml` in front of the defaults."""

    def __init__(self, drive: Drive, claims: Claims | None = None) -> None:
        overridden = claims.limits if claims is not None else {}
        for name in overridden:
            if name not in LIMITS:
                raise ClaimsError(f"{name!r} is no limit; there are {', '.join(sorted(LIMITS))}")
        self._values = {
            name: float(limit.value(drive) if callable(limit.value) else limit.value)
            for name, limit in LIMITS.items()
        }
        self._values |= {name: float(limit.value) for name, limit in overridden.items()}
        for name, value in self._values.items():
            if not value > 0.0:
                raise ClaimsError(f"limit {name!r} is {value:g}; a limit must be above zero")

    def __getitem__(self, name: str) -> float:
        return self._values[name]


def known_limits() -> tuple[str, ...]:
    """Names of all limits, in their order here."""
    return tuple(LIMITS)
