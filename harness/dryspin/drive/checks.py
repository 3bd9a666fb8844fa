"""What two or more values of a drive must keep between them.

Each check takes the drive and yields nothing, or one problem: the table and key to blame and the
rest of the sentence. A new rule is a new function in `CHECKS`. Those of the machine: machine_checks.py.
"""

from collections.abc import Iterator
from itertools import pairwise

from dryspin.drive import carrier
from dryspin.drive.machine_checks import MACHINE_CHECKS
from dryspin.drive.model import Drive
from dryspin.drive.pin_checks import PIN_CHECKS
from dryspin.drive.problem import Check, Problem


def carrier_exists(drive: Drive) -> Iterator[Problem]:
    """The carrier is one the part can make, and one the rig runs; at register level the code makes it."""
    if drive.pins is not None:
        return
    f_pwm_hz, f_cpu_hz = drive.bridge.f_pwm_hz, drive.controller.f_cpu_hz
    nearest = carrier.nearest(f_pwm_hz, f_cpu_hz)
    (on_rig,) = (c for c in carrier.carriers(f_cpu_hz) if c.on_rig)
    at = f"{drive.controller.part} at {f_cpu_hz / 1e6:g} MHz"
    if abs(nearest.f_hz - f_pwm_hz) > carrier.TOLERANCE_HZ:
        yield Problem(
            "bridge",
            "f_pwm_hz",
            f" = {f_pwm_hz:.8g} Hz: {at} cannot make this carrier; nearest is {nearest}. "
            f"Write {on_rig.f_hz:.0f}, the one the rig runs.",
        )
    elif not nearest.on_rig:
        yield Problem(
            "bridge",
            "f_pwm_hz",
            f" = {f_pwm_hz:.8g} Hz: {at} can make this carrier ({nearest.mode}, prescaler "
            f"{nearest.prescaler}), but it is not on the rig yet. Write {on_rig.f_hz:.0f} "
            "(phase-correct, prescaler 1).",
        )


def gates_are_held_off(drive: Drive) -> Iterator[Problem]:
    """During reset the pins float at once, without a clock (data sheets 7810C p. 44, 8025I p. 46)."""
    if not drive.bridge.pull_downs:
        yield Problem(
            "bridge",
            "pull_downs",
            " = false: during reset the part's pins float, and a floating gate can turn both FETs of a leg "
            "on. Fit a pull-down on each gate driver input and write true.",
        )


PIN_BEYOND_V = 0.5
"""What a pin bears above VCC, absolute maximum (data sheet 8025I section 28.1)."""


def sense_pin_stays_below_supply(drive: Drive) -> Iterator[Problem]:
    """A terminal rises one diode drop above the bus; its divider, or a clamp, must keep the pin in bounds."""
    highest_v = drive.supply.v_v.high + drive.bridge.v_f_v.high
    pin_v = highest_v * drive.sense.ratio
    v_supply_v, clamp_v = drive.controller.v_supply_v, drive.sense.pin_clamp_v
    if pin_v <= v_supply_v:
        return
    if clamp_v is None:
        r_top_ohm = drive.sense.r_bottom_ohm * (highest_v / v_supply_v - 1.0)
        yield Problem(
            "sense",
            "r_top_ohm",
            f" = {drive.sense.r_top_ohm:g} ohm over r_bottom_ohm = {drive.sense.r_bottom_ohm:g} ohm puts "
            f"{pin_v:.3g} V on the sense pin at {highest_v:.4g} V (supply at its highest and one diode "
            f"drop), above the controller's {v_supply_v:g} V. Use at least {r_top_ohm:.4g} ohm on top.",
        )
    elif min(pin_v, clamp_v) > v_supply_v + PIN_BEYOND_V:
        yield Problem(
            "sense",
            "pin_clamp_v",
            f" = {clamp_v:g} V lets the sense pin rise to {min(pin_v, clamp_v):.3g} V; it bears "
            f"{v_supply_v + PIN_BEYOND_V:g} V, {PIN_BEYOND_V:g} V above the controller's supply. Clamp it "
            "lower.",
        )


def fets_bear_the_supply(drive: Drive) -> Iterator[Problem]:
    """The weakest rating on the bus lies above the supply's highest voltage."""
    if drive.bridge.v_max_v < drive.supply.v_v.high:
        yield Problem(
            "bridge",
            "v_max_v",
            f" = {drive.bridge.v_max_v:g} V is below the supply's highest {drive.supply.v_v.high:g} V. "
            "Use FETs and capacitor for more, or lower [supply] v_v.",
        )


def current_limit_lies_below_the_rating(drive: Drive) -> Iterator[Problem]:
    """A limit that acts only beyond what the FETs bear protects nothing."""
    bridge = drive.bridge
    if bridge.over_current_a is not None and bridge.over_current_a >= bridge.i_peak_max_a:
        yield Problem(
            "bridge",
            "over_current_a",
            f" = {bridge.over_current_a:g} A is not below i_peak_max_a = {bridge.i_peak_max_a:g} A, and the "
            "current goes on rising until the legs are open. Choose a larger shunt, or leave the key out.",
        )


def dead_time_fits_the_carrier(drive: Drive) -> Iterator[Problem]:
    """Both dead times of a period must leave room for a pulse."""
    period_ns = 1e9 / drive.bridge.f_pwm_hz
    if 2.0 * drive.bridge.dead_time_ns >= period_ns:
        yield Problem(
            "bridge",
            "dead_time_ns",
            f" = {drive.bridge.dead_time_ns:g} ns twice in each carrier period of {period_ns:.0f} ns leaves "
            "no pulse. Shorten it.",
        )


def _f_max_hz(v: float) -> float:
    """Safe clock over supply: 4 MHz at 1.8 V, 10 at 2.7, 20 at 4.5 (data sheet 8161D table 28-2).

    Linear in between, which is from memory.
    """
    corners = ((1.8, 4e6), (2.7, 10e6), (4.5, 20e6), (5.5, 20e6))
    for (v0, f0), (v1, f1) in pairwise(corners):
        if v0 <= v <= v1:
            return f0 + (f1 - f0) * (v - v0) / (v1 - v0)
    return corners[0][1] if v < corners[0][0] else corners[-1][1]


def supply_carries_the_clock(drive: Drive) -> Iterator[Problem]:
    """At its own supply, and down to the voltage at which it is reset, the part must run this fast."""
    controller = drive.controller
    f_max_hz = _f_max_hz(controller.v_supply_v)
    if controller.f_cpu_hz > f_max_hz:
        yield Problem(
            "controller",
            "f_cpu_hz",
            f" = {controller.f_cpu_hz:g} Hz is too fast for v_supply_v = {controller.v_supply_v:g} V, which "
            f"carries {f_max_hz / 1e6:.3g} MHz. Raise the supply or slow the clock.",
        )
        return
    f_max_hz = _f_max_hz(controller.brown_out_v)
    if controller.f_cpu_hz > f_max_hz:
        yield Problem(
            "controller",
            "brown_out_v",
            f" = {controller.brown_out_v:g} V lets the part run on where it carries {f_max_hz / 1e6:.3g} MHz "
            f"only, not {controller.f_cpu_hz / 1e6:g} MHz. Set the brown-out fuses higher, to 4.3 V.",
        )
    elif controller.brown_out_v >= controller.v_supply_v:
        yield Problem(
            "controller",
            "brown_out_v",
            f" = {controller.brown_out_v:g} V is not below v_supply_v = {controller.v_supply_v:g} V: the "
            "part would never leave reset. Choose a lower level, and a clock it carries.",
        )


def rc_clock_is_8_mhz(drive: Drive) -> Iterator[Problem]:
    """The internal RC oscillator runs at 8.0 MHz and can only be divided (data sheet 8161D p. 317)."""
    if drive.controller.clock == "rc" and drive.controller.f_cpu_hz > 8e6:
        yield Problem(
            "controller",
            "clock",
            f' = "rc": the internal oscillator gives 8 MHz, not {drive.controller.f_cpu_hz / 1e6:g} MHz. '
            'Write "crystal" or "resonator", or f_cpu_hz = 8e6.',
        )


def throttle_points_are_in_order(drive: Drive) -> Iterator[Problem]:
    """Valid low, full reverse, dead band, full forward, valid high: each above the one before."""
    t = drive.throttle
    below, above = t.neutral_us - t.dead_band_us, t.neutral_us + t.dead_band_us
    # Low point, high point, the key to blame.
    pairs: tuple[tuple[tuple[str, float], tuple[str, float], str], ...] = (
        (("valid_low_us", t.valid_low_us), ("reverse_full_us", t.reverse_full_us), "valid_low_us"),
        (("reverse_full_us", t.reverse_full_us), ("neutral_us - dead_band_us", below), "reverse_full_us"),
        (("neutral_us + dead_band_us", above), ("forward_full_us", t.forward_full_us), "forward_full_us"),
        (("forward_full_us", t.forward_full_us), ("valid_high_us", t.valid_high_us), "valid_high_us"),
    )
    if t.one_way:
        pairs = ((("valid_low_us", t.valid_low_us), ("neutral_us", t.neutral_us), "valid_low_us"), *pairs[2:])
    for (low_name, low), (high_name, high), blamed in pairs:
        if low >= high:
            yield Problem(
                "throttle",
                blamed,
                f": {low_name} = {low:g} us must be below {high_name} = {high:g} us. "
                "Put the points in order from the shortest pulse to the longest.",
            )
            return


def calibration_fits_the_throttle(drive: Drive) -> Iterator[Problem]:
    """The stick can ask for calibration, and a range that is taken can be driven."""
    calibration, t = drive.calibration, drive.throttle
    if calibration is None:
        return
    lowest_us = t.neutral_us + t.dead_band_us
    if not lowest_us < calibration.enter_us < t.valid_high_us:
        yield Problem(
            "calibration",
            "enter_us",
            f" = {calibration.enter_us:g} us must lie between neutral_us + dead_band_us = {lowest_us:g} us "
            f"and valid_high_us = {t.valid_high_us:g} us of [throttle], or no stick could ask for it alone. "
            "Choose a value between.",
        )
    if calibration.span_min_us >= calibration.span_max_us:
        yield Problem(
            "calibration",
            "span_min_us",
            f" = {calibration.span_min_us:g} us must be below span_max_us = {calibration.span_max_us:g} us, "
            "or no range could be taken. Lower it, or raise span_max_us.",
        )
    if calibration.span_min_us <= t.dead_band_us:
        yield Problem(
            "calibration",
            "span_min_us",
            f" = {calibration.span_min_us:g} us must be above dead_band_us = {t.dead_band_us:g} us of "
            "[throttle], or full stick could ask for nothing. Raise it.",
        )
    if calibration.still_us >= calibration.span_min_us:
        yield Problem(
            "calibration",
            "still_us",
            f" = {calibration.still_us:g} us must be below span_min_us = {calibration.span_min_us:g} us, or "
            "one position could not be told from the next. Lower it.",
        )


CHECKS: tuple[Check, ...] = (
    carrier_exists,
    gates_are_held_off,
    sense_pin_stays_below_supply,
    fets_bear_the_supply,
    current_limit_lies_below_the_rating,
    dead_time_fits_the_carrier,
    supply_carries_the_clock,
    rc_clock_is_8_mhz,
    throttle_points_are_in_order,
    calibration_fits_the_throttle,
    *MACHINE_CHECKS,
    *PIN_CHECKS,
)


def problems(drive: Drive) -> Iterator[Problem]:
    """All problems of a drive, in the order of `CHECKS`."""
    for check in CHECKS:
        yield from check(drive)
