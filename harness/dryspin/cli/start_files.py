"""Texts of the files that `dryspin new` writes, from what the sources show."""

from dryspin.drive.pins import CONVERTER_PINS, NEUTRAL_PIN
from dryspin.registers.survey import Survey

DEFAULT_HIGH, DEFAULT_LOW = ("PD5", "PB3", "PD3"), ("PD4", "PB1", "PB2")
SPARE_LOW = ("PD4", "PD7", "PB4", "PB5", "PD1", "PC5")
DEFAULT_F_PWM_HZ = 31372.55

EMPTY_FIRMWARE = """\
// A firmware to begin with: every leg open, the watchdog fed, nothing else.

#include <avr/io.h>
#include <avr/wdt.h>

int main(void)
{
\twdt_enable(WDTO_120MS);
\tfor (;;)
\t\twdt_reset();
}
"""

GITIGNORE = """\
# what checks and tests leave behind; found/ is kept: each file in it is a test
__pycache__/
.pytest_cache/
.hypothesis/
*.npz
result.json
"""

CI = """\
#!/bin/sh
# Everything a change must pass; run it where the code is tested. Fails with the first step that fails.
set -eu
cd "$(dirname "$0")/.."
dryspin doctor
dryspin check . --json result.json
python -m pytest
"""

FIRST_TEST = '''\
"""The first test: powered, no stick, nothing may move. Add one for everything that ever went wrong."""

from pathlib import Path

from dryspin.findings import load_subject
from dryspin.scenario import Scenario

FIRMWARE = Path(__file__).parent.parent


def test_without_pulses_every_gate_stays_off():
    """Half a second from power-on with no throttle pulse at all."""
    subject = load_subject(FIRMWARE)
    quiet = Scenario(seed=1, end_s=0.5, rest_deg=0.0, frame_ms=20.0, throttle_us=((0.0, 0.0),))
    recording = subject.record(quiet)

    assert not any(recording.edges["value"][recording.edges["signal"] < 3])
'''

CLAIMS = """\
# What the firmware is held to: families, or single claims as "family.claim". Begin with what must never
# happen; add the others one by one as the firmware gets there. A declared claim that no scenario exercises
# counts against a check, as nothing was shown about it.

declared = ["gates.both_fets", "gates.two_high", "gates.dead_time"]

# Later: "gates", "commutation", "startup", "synchronism", "reversal", "arming", "calibration", "tones". They
# judge what the firmware does by what it says it is doing: let it show its state, by the level of a pin
# (marks under [pins]) or by a number in a spare register (mark_register).
"""


def drive_text(name: str, sources: tuple[str, ...], seen: Survey) -> str:
    """drive.toml: what was seen filled in, what nobody can know from sources as ranges, both said."""
    high, high_known = _three(tuple(pin for pin in seen.chopped if pin != NEUTRAL_PIN), DEFAULT_HIGH)
    taken = {*high, NEUTRAL_PIN}
    low, low_known = _three(tuple(pin for pin in seen.outputs if pin not in taken), DEFAULT_LOW)
    if set(high) & set(low):
        low, low_known = tuple(pin for pin in SPARE_LOW if pin not in high)[:3], False
    phases = tuple(pin for pin in CONVERTER_PINS if pin not in low)[:3]
    unknown = [*([] if high_known else ["pins.high"]), *([] if low_known else ["pins.low"]), "pins.phases"]
    throttle = seen.throttle if seen.throttle not in (*high, *low, *phases, NEUTRAL_PIN) else ""
    unknown += [] if throttle else ["pins.throttle"]
    unknown += [] if seen.f_cpu_hz else ["controller.f_cpu_hz"]
    unknown += [] if seen.f_pwm_hz else ["bridge.f_pwm_hz"]
    unknown += _stick_unknown(seen)
    unknown += [
        *("motor.kv_rpm_per_v", "motor.r_phase_ohm", "motor.l_phase_h", "motor.pole_pairs", "motor.j_kg_m2"),
        *("load.kq_nm_s2", "load.coulomb_nm", "bridge.i_peak_max_a", "supply.v_v"),
    ]
    listed = ",\n".join(f'    "{key}"' for key in unknown)
    notes = "".join(f"# Look at this: {note}.\n" for note in seen.notes)
    steady = (
        ""
        if "PD7" in (*high, *low, throttle)
        else "steady = { PD7 = 0 }                    # AIN1 at ground\n"
    )
    high_said = _said(high_known, "compare outputs that the source connects: check which is which")
    low_said = _said(low_known, "other outputs of the source: check which is which")
    f_cpu_said = _said(bool(seen.f_cpu_hz), "F_CPU of the source")
    f_pwm_said = _said(bool(seen.f_pwm_hz), "from timer and prescaler in the source")
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

[pins]                                  # what hangs on which pin of the part
high = {_toml(high)}            # {high_said}
low = {_toml(low)}             # {low_said}
phases = {_toml(phases)}          # U, V, W behind their dividers: pins of ADMUX, or PD7
neutral = "PD6"                         # AIN0: the comparator's plus input
throttle = "{throttle}"                      # {_said(bool(throttle), "seen in the source")}
{steady}
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
f_pwm_hz = {seen.f_pwm_hz or DEFAULT_F_PWM_HZ:.8g}                      # {f_pwm_said}
dead_time_ns = 500
pull_downs = true                       # each gate driver input has one; without, nothing may be powered
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

{_stick(seen)}# arming_frames = 25                    # neutral pulses of arming; a check finds out itself
"""


def _stick(seen: Survey) -> str:
    """[throttle] as the source shows it, or as a guess; one way: the lower end asks for nothing."""
    if seen.two_ways is False:
        rest_us = max(seen.neutral_us - 60.0, 950.0)
        return f"""\
[throttle]                              # servo pulses; one way: nothing in the source goes back
neutral_us = {rest_us:.0f}                       # off; the source has {seen.neutral_us:.0f} us
forward_full_us = 1900
reverse_full_us = {rest_us - 100:.0f}                   # asks for nothing; the drive pushes one way
dead_band_us = 60
"""
    ways = (
        "both ways, by the names in the source"
        if seen.two_ways
        else "both ways: a guess, the source leaves it open"
    )
    rest_us = seen.neutral_us if seen.two_ways else 1500.0
    return f"""\
[throttle]                              # servo pulses; {ways}
neutral_us = {rest_us:.0f}
forward_full_us = {rest_us + 400:.0f}
reverse_full_us = {rest_us - 400:.0f}
dead_band_us = 40
"""


def _stick_unknown(seen: Survey) -> list[str]:
    """What of the stick is still open: full stick always, for no name tells it; its ways where unseen."""
    rest = [] if seen.neutral_us and seen.two_ways is not None else ["throttle.neutral_us"]
    return [
        *rest,
        "throttle.forward_full_us",
        *([] if seen.two_ways is not None else ["throttle.reverse_full_us"]),
    ]


def _three(pins: tuple[str, ...], default: tuple[str, ...]) -> tuple[tuple[str, ...], bool]:
    return (pins, True) if len(pins) == 3 else (default, False)


def _toml(pins: tuple[str, ...]) -> str:
    return "[" + ", ".join(f'"{pin}"' for pin in pins) + "]"


def _said(known: bool, how: str) -> str:
    return how if known else "a guess: the source does not show it"
