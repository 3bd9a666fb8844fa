"""drive.toml as `dryspin new` writes it: what was seen filled in, the rest as guesses, both said."""

from dryspin.cli.start_pins import TO_DO, start_pins
from dryspin.drive.pins import MARKS
from dryspin.registers.survey import Survey

F_PWM_HZ = 20000.0
"""A place to fill in: the lowest that nobody hears."""

VALID_US = (800.0, 2200.0)
BESIDE_US = 25.0
"""Full stick lies within what counts as a pulse by so much at least."""


def drive_text(name: str, sources: tuple[str, ...], seen: Survey) -> str:
    """The whole file."""
    pins = start_pins(seen)
    stick, stick_unknown = _stick(seen)
    unknown = [
        *pins.unknown,
        *([] if seen.f_cpu_hz else ["controller.f_cpu_hz"]),
        *([] if seen.f_pwm_hz else ["bridge.f_pwm_hz"]),
        *stick_unknown,
        *("motor.kv_rpm_per_v", "motor.r_phase_ohm", "motor.l_phase_h", "motor.pole_pairs", "motor.j_kg_m2"),
        *("load.kq_nm_s2", "load.coulomb_nm", "bridge.i_peak_max_a", "supply.v_v"),
    ]
    listed = ",\n".join(f'    "{key}"' for key in unknown)
    notes = "".join(f"# Look at this: {note}.\n" for note in seen.notes)
    doubts = {key: f"{text}\n" for key, text in pins.doubts.items()}
    steady = (
        ""
        if "PD7" in (*pins.high, *pins.low, *pins.phases, pins.throttle)
        else "steady = { PD7 = 0 }                    # AIN1 at ground\n"
    )
    f_cpu_said = _said(bool(seen.f_cpu_hz), "F_CPU of the source")
    f_pwm_hz = seen.f_pwm_hz or F_PWM_HZ
    f_pwm_said = "by the timer's clock, mode and top in the source"
    f_pwm_doubt = "" if seen.f_pwm_hz else f"{TO_DO} of the carrier: the source's timers do not show it.\n"
    return f"""\
# The drive that this firmware runs: motor, board, supply, controller. Keys are SI with the unit in the name;
# a number may be a value or {{ low = .., nominal = .., high = .. }}.
{notes}
name = "{name}"

# Still guesses. Measure or look each up, write it below, and take it out of this list.
unknown = [
{listed},
]

[firmware]
sources = [{", ".join(f'"{source}"' for source in sources)}]

[pins]                                  # what hangs on which pin; in the order of the legs U, V, W
{doubts.get("high", "")}\
high = {_toml(pins.high)}            # {pins.said["high"]}
{doubts.get("low", "")}\
low = {_toml(pins.low)}             # {pins.said["low"]}
# high_active = "low"                   # if a low level turns a high FET on; low_active alike
{doubts.get("phases", "")}\
phases = {_toml(pins.phases)}          # behind their dividers: {pins.said["phases"]}
neutral = "PD6"                         # AIN0: the comparator's plus input
{doubts.get("throttle", "")}\
throttle = "{pins.throttle}"                      # {pins.said["throttle"]}
{steady}{_MARKS}
[motor]
kv_rpm_per_v = {{ low = 800, nominal = 1000, high = 1200 }} # printed on most motors
kv_from = "guess"
r_phase_ohm = {{ low = 0.04, nominal = 0.08, high = 0.16 }} # half of what is measured between two leads
l_phase_h = {{ low = 14e-6, nominal = 28e-6, high = 56e-6 }} # half of what a meter shows between two leads
pole_pairs = 7                          # magnets / 2
j_kg_m2 = {{ low = 0.7e-5, nominal = 1.5e-5, high = 3e-5 }} # rotor and propeller together

[load]                                  # propeller: torque = kq w |w|
kq_nm_s2 = {{ low = 0.5e-7, nominal = 1.0e-7, high = 2e-7 }}
coulomb_nm = {{ low = 1e-3, nominal = 3e-3, high = 6e-3 }}

[bridge]
r_on_ohm = {{ low = 3e-3, nominal = 5e-3, high = 10e-3 }}
chopping = "high side"
{f_pwm_doubt}\
f_pwm_hz = {f_pwm_hz:.8g}                      # {f_pwm_said if seen.f_pwm_hz else "a place to fill in"}
dead_time_ns = 500
pull_downs = true                       # each gate driver input has one; without, nothing may be powered
# high_on_max_s = 1e6                   # P-channel high FETs: no bootstrap capacitor that could run empty
i_peak_max_a = 40
v_max_v = 25

[supply]
kind = "lab"
v_v = {{ low = 10, nominal = 11.1, high = 12.6 }}
r_ohm = 0.05
sinks = false
c_f = 470e-6
esr_ohm = 0.03

[sense]
r_top_ohm = 33e3
r_bottom_ohm = 10e3

[controller]
part = "mega168"
f_cpu_hz = {seen.f_cpu_hz or 16e6:.8g}                         # {f_cpu_said}
clock = "crystal"

{stick}# arming_frames = 25                    # neutral pulses of arming; a check finds out itself
"""


_MARKS = f"""\
# How the firmware shows what it is doing: pins with their [state while low, state while high]. Claims about
# arming, starts and losing step need it. Name only a pin that says one thing for as long as it is so: a
# blinking LED makes marks lie, and every claim that believes them with it.
# States: {", ".join(MARKS)}.
# marks = {{ PB1 = ["off", "run"] }}       # PB1 low: nothing is driven; high: it runs
# mark_register = "GPIOR0"              # or: a spare register that holds the state's number, counted from 0
"""


def _stick(seen: Survey) -> tuple[str, list[str]]:
    """[throttle] as the source shows it, and the keys of it that are guesses."""
    stick, unknown = seen.stick, []
    low_us, high_us = (us or usual_us for us, usual_us in zip(stick.valid_us, VALID_US, strict=True))
    if stick.valid_us[0]:
        valid = f"""\
valid_low_us = {low_us:.6g}                      # what the source compares the pulse with
valid_high_us = {high_us:.6g}
"""
    else:
        unknown += ["throttle.valid_low_us", "throttle.valid_high_us"]
        valid = f"""\
{TO_DO} which pulses count: the source does not show it; what stands here is what a check takes.
# valid_low_us = {low_us:.0f}
# valid_high_us = {high_us:.0f}
"""
    ends_us = low_us + BESIDE_US, high_us - BESIDE_US
    known = bool(stick.rest_us) and stick.two_ways is not None
    unknown += [*([] if known else ["throttle.neutral_us"]), "throttle.forward_full_us"]
    if stick.two_ways is False:
        rest_us = max(stick.rest_us - 60.0, ends_us[0], 950.0)
        text = f"""\
[throttle]                              # servo pulses
one_way = true                          # nothing in the source goes back: what lies below asks for nothing
neutral_us = {rest_us:.0f}                       # off; the source has {stick.rest_us:.0f} us
forward_full_us = {min(1900.0, ends_us[1]):.0f}
dead_band_us = 60
"""
        return text + valid, unknown
    if stick.two_ways is None:
        unknown.append("throttle.reverse_full_us")
    ways = "both ways, by the names in the source" if stick.two_ways else f"{TO_DO[2:]} whether both ways"
    rest_us = stick.rest_us if stick.two_ways else 1500.0
    text = f"""\
[throttle]                              # servo pulses; {ways}
# one_way = true                        # if it pushes forward only; then without reverse_full_us
neutral_us = {rest_us:.0f}
forward_full_us = {min(rest_us + 400.0, ends_us[1]):.0f}
reverse_full_us = {max(rest_us - 400.0, ends_us[0]):.0f}
dead_band_us = 40
"""
    return text + valid, unknown


def _toml(pins: tuple[str, ...]) -> str:
    return "[" + ", ".join(f'"{pin}"' for pin in pins) + "]"


def _said(known: bool, how: str) -> str:
    return how if known else "a guess: the source does not show it"
