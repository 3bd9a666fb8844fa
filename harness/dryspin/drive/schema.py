"""Every key of `drive.toml`: meaning, unit, bounds, default and the reason of the default.

The one place to look up or to print from. Bounds refuse what cannot exist; what two values must
keep between them stands in `checks.py`.
"""

from collections.abc import Mapping

from dryspin.drive.keys import (
    Changes,
    Defines,
    Flag,
    Key,
    Moments,
    Notes,
    Number,
    Numbers,
    Order,
    Spanned,
    Text,
    Texts,
)
from dryspin.drive.pin_keys import KEYS as PINS
from dryspin.drive.span import Range

COMPLEMENTARY = "complementary"
LOW_SIDE = "low side"
"""Chopping in which the low FET is on where the high one is not."""

TABLE_MAX = 1024
"""Values of a back-EMF table that the compiled plant holds."""

FIRST_TONE_MARK, LAST_TONE_MARK = 32, 63
"""Marks kept for tones: PORT_MARK_TONE_FIRST and on in drive_port.h."""

TOP: tuple[Key, ...] = (
    Text(name="name", meaning="a short name for reports", default="", may_be_empty=True,
         reason="the name of the firmware's directory"),
    Texts(name="unknown", default=(),
          meaning="the keys, as \"motor.l_phase_h\", whose values are still guesses",
          reason="all of them are known"),
)  # fmt: skip

FIRMWARE: tuple[Key, ...] = (
    Texts(name="sources",
          meaning="the C sources (with [pins] C++ and sketches, too) as glob patterns, relative to the "
                  "firmware's directory",
          default=("*.c",), reason="a small firmware lies in one directory"),
    Texts(name="include", meaning="the include directories, relative to the firmware's directory",
          default=(".",), reason="headers lie beside the sources"),
    Defines(name="defines", meaning="macros as a table of names and values", default={},
            reason="none are needed"),
    Text(name="base", meaning="the directory whose files and tables stand in for missing ones",
         default="", may_be_empty=True, reason="the firmware is complete"),
    Changes(name="change",
            meaning="texts to replace in the files, as [[firmware.change]] with file, before, after",
            default=(), reason="the files stand as they are"),
)  # fmt: skip

MOTOR: tuple[Key, ...] = (
    Spanned(name="kv_rpm_per_v", unit="rpm/V", above=0.0, at_most=1e6, default=None,
            meaning="the no-load speed per volt, line to line", reason="kt_nm_per_a says the same"),
    Text(name="kv_from", meaning="how kv was obtained, such as \"no-load test\"", default=None,
         reason="needed only beside kv_rpm_per_v"),
    Spanned(name="kt_nm_per_a", unit="Nm/A", above=0.0, at_most=1e3, default=None,
            meaning="the torque per ampere with two phases on", reason="kv_rpm_per_v says the same"),
    Text(name="kt_from", meaning="how kt was obtained, such as \"data sheet\"", default=None,
         reason="needed only beside kt_nm_per_a"),
    Spanned(name="r_phase_ohm", unit="ohm", above=0.0, at_most=1e3,
            meaning="the resistance of one phase, half of the value between two terminals"),
    Spanned(name="l_phase_h", unit="H", above=0.0, at_most=1.0,
            meaning="the inductance of one phase, half of the value between two terminals"),
    Number(name="pole_pairs", whole=True, at_least=1, at_most=100,
           meaning="the number of pole PAIRS, half of the number of magnets"),
    Spanned(name="j_kg_m2", unit="kg m2", above=0.0, at_most=1e3,
            meaning="the inertia of rotor and propeller together"),
    Text(name="back_emf", choices=("trapezoid", "sine", "table"), default="trapezoid",
         meaning="the shape of a phase's back-EMF over the angle",
         reason="concentrated windings under magnets of full pitch: flat over 120 degrees"),
    Numbers(name="back_emf_table", at_least=-2.0, at_most=2.0, fewest=12, most=TABLE_MAX,
            default=(),
            meaning="the back-EMF of phase U at equal steps over one electrical turn from its rising zero "
                    "on, with a peak of 1",
            reason="needed only with back_emf = \"table\""),
    Number(name="third_harmonic", at_least=-0.5, at_most=0.5, default=0.0,
           meaning="the share h of h sin(3 theta) on top of the back-EMF of every phase",
           reason="the shape as it is"),
    Numbers(name="r_factors", above=0.0, at_most=10.0, count=3, default=(1.0, 1.0, 1.0),
            meaning="factors on the resistance of U, V, W", reason="three equal phases"),
    Numbers(name="l_factors", above=0.0, at_most=10.0, count=3, default=(1.0, 1.0, 1.0),
            meaning="factors on the inductance of U, V, W", reason="three equal phases"),
    Numbers(name="k_factors", above=0.0, at_most=10.0, count=3, default=(1.0, 1.0, 1.0),
            meaning="factors on the back-EMF of U, V, W", reason="three equal phases"),
    Numbers(name="mutual_h", unit="H", at_least=-1.0, at_most=1.0, count=3, default=(0.0, 0.0, 0.0),
            meaning="by how much the mutual inductances UV, VW, WU differ from their common value, "
                    "which l_phase_h contains",
            reason="a symmetric machine"),
)  # fmt: skip

LOAD: tuple[Key, ...] = (
    Spanned(name="kq_nm_s2", unit="Nm s2", at_least=0.0, meaning="the propeller factor, torque = kq w |w|"),
    Spanned(name="coulomb_nm", unit="Nm", at_least=0.0, default=Range.exactly(0.0),
            meaning="the friction torque that does not depend on speed", reason="a bearing without friction"),
    Spanned(name="viscous_nm_s", unit="Nm s", at_least=0.0, default=Range.exactly(0.0),
            meaning="the friction torque per rad/s", reason="small beside a propeller in water"),
    Spanned(name="static_nm", unit="Nm", at_least=0.0, at_most=1e3, default=None,
            meaning="the torque at which a rotor at rest breaks away, at least coulomb_nm",
            reason="a bearing that holds no better than it brakes"),
)  # fmt: skip

BRIDGE: tuple[Key, ...] = (
    Spanned(name="r_on_ohm", unit="ohm", above=0.0, at_most=10.0,
            meaning="the resistance of a FET that is on"),
    Spanned(name="v_f_v", unit="V", at_least=0.0, at_most=5.0, default=Range.exactly(0.7),
            meaning="the forward drop of a body diode", reason="silicon at a few amperes; no source"),
    Spanned(name="diode_slope_ohm", unit="ohm", at_least=0.0, at_most=10.0, default=None,
            meaning="the resistance in series with a body diode's drop",
            reason="that of the FET that is on"),
    Text(name="chopping", choices=("high side", LOW_SIDE, COMPLEMENTARY),
         meaning="\"high side\" (an input for each FET; a chopped leg's high FET follows the carrier, its "
                 "low FET is off), \"low side\" (with [pins] only: the low FET of the leg that is low "
                 "follows the carrier, a high FET stays on) or \"complementary\" (a gate driver with one "
                 "input a leg, which makes both FETs and the dead time from it)"),
    Number(name="f_pwm_hz", unit="Hz", above=0.0, meaning="the carrier's frequency"),
    Number(name="dead_time_ns", unit="ns", above=0.0, at_most=1e5,
           meaning="the time both FETs of a leg must be off between one and the other"),
    Flag(name="pull_downs", meaning="whether each gate has a resistor that holds it off by itself"),
    Number(name="i_peak_max_a", unit="A", above=0.0, meaning="the highest phase current the FETs bear"),
    Number(name="v_max_v", unit="V", above=0.0,
           meaning="the highest bus voltage, the lowest rating of FETs, capacitor and regulator"),
    Number(name="high_on_max_s", unit="s", above=0.0, default=0.01,
           meaning="the longest time a high FET stays on from its bootstrap capacitor; 1e6 where its gate "
                   "needs none, as that of a P-channel FET",
           reason="1 uF that may lose 0.5 V at 50 uA; C dV / I, currents common practice, no source"),
    Number(name="over_current_a", unit="A", above=0.0, at_most=1e4, default=None,
           meaning="the current through the bridge's return at which the board's current limit pulls its pin",
           reason="no current limit fitted"),
    Number(name="over_current_filter_s", unit="s", at_least=0.0, at_most=1e-3, default=2e-6,
           meaning="the time the current must lie on the other side of over_current_a before the pin follows",
           reason="longer than the ringing of a commutation, short beside the rise by 0.2 A/us of a short "
                  "through two windings of 28 uH; no source"),
)  # fmt: skip

SUPPLY: tuple[Key, ...] = (
    Text(name="kind", choices=("pack", "lab"), meaning="\"pack\" (battery) or \"lab\" (laboratory supply)"),
    Spanned(name="v_v", unit="V", above=0.0, meaning="the open-circuit voltage"),
    Spanned(name="r_ohm", unit="ohm", above=0.0, meaning="the resistance of source and leads together"),
    Flag(name="sinks", meaning="whether the supply takes current back"),
    Spanned(name="c_f", unit="F", above=0.0, at_most=1.0, meaning="the bulk capacitor on the board"),
    Spanned(name="esr_ohm", unit="ohm", at_least=0.0, at_most=10.0, default=Range.exactly(0.0),
            meaning="the series resistance of the bulk capacitor",
            reason="a film capacitor's, too small to show"),
)  # fmt: skip

SENSE: tuple[Key, ...] = (
    Number(name="r_top_ohm", unit="ohm", at_least=0.0, meaning="the divider's resistor to the terminal"),
    Number(name="r_bottom_ohm", unit="ohm", above=0.0, meaning="the divider's resistor to ground"),
    Spanned(name="offset_v", unit="V", at_least=-1.0, at_most=1.0, default=Range(-0.04, 0.0, 0.04),
            meaning="the comparator's input offset",
            reason="data sheet DS40002011A p. 385: at most 40 mV at 5 V"),
    Spanned(name="delay_s", unit="s", at_least=0.0, at_most=1e-3, default=Range.exactly(5e-7),
            meaning="the comparator's propagation delay",
            reason="data sheet DS40002011A p. 385: 500 ns at 4 V"),
    Spanned(name="tau_s", unit="s", at_least=0.0, at_most=1.0, default=Range.exactly(0.0),
            meaning="the time constant of the low-pass on each sense line", reason="no capacitor fitted"),
    Spanned(name="noise_v", unit="V", at_least=0.0, at_most=1.0, default=Range(0.001, 0.002, 0.004),
            meaning="the standard deviation of noise at the comparator while something disturbs it",
            reason="some millivolts beside switched currents; common practice, no source"),
    Number(name="pin_clamp_v", unit="V", above=0.0, at_most=1e3, default=None,
           meaning="the voltage at the pin beyond which a clamp holds it", reason="no clamp fitted"),
)  # fmt: skip

CONTROLLER: tuple[Key, ...] = (
    Text(name="part", choices=("mega168",), meaning="the controller's part family"),
    Number(name="f_cpu_hz", unit="Hz", at_least=1e6, at_most=20e6, meaning="the CPU clock of the part"),
    Text(name="clock", choices=("crystal", "resonator", "rc"), meaning="what makes the clock"),
    Number(name="v_supply_v", unit="V", at_least=1.8, at_most=5.5, default=5.0,
           meaning="the controller's supply", reason="the common regulator of such boards; no source"),
    Number(name="i_supply_a", unit="A", at_least=0.0, at_most=10.0, default=0.02,
           meaning="the current that controller and regulator draw from the bus",
           reason="15 mA of a part at 16 MHz and 5 V (typical) and some for drivers and dividers"),
    Number(name="regulator_drop_v", unit="V", at_least=0.0, at_most=5.0, default=1.0,
           meaning="the bus voltage above its output that the regulator needs",
           reason="an ordinary linear regulator; no source"),
    Number(name="brown_out_v", unit="V", at_least=1.7, at_most=4.5, default=4.3,
           meaning="the controller's supply below which it is held in reset",
           reason="the level for 16 MHz, typical: data sheet 8025I table 26-4"),
    Number(name="block_cycles", whole=True, at_least=0, at_most=1000, default=0,
           meaning="the CPU cycles charged for each basic block",
           reason="only port calls take time, so that runs are the same whatever compiler built them"),
    Text(name="code_cycles", choices=("flat", "object code"), default="flat",
         meaning="what plain code is charged by: block_cycles for each basic block, or the cycles of its "
                 "object code for the part",
         reason="needs no compiler for the part"),
    Number(name="code_cycles_factor", at_least=0.1, at_most=10.0, default=1.0,
           meaning="what the cycles of object code are multiplied by, to see what verdicts owe to them",
           reason="the instruction set manual's figures"),
    Number(name="atomic_bytes", unit="bytes", whole=True, at_least=1, at_most=8, default=1,
           meaning="the widest variable that the part reads or writes in one instruction",
           reason="an 8-bit part: a load or store moves one byte (AVR instruction set manual)"),
)  # fmt: skip

THROTTLE: tuple[Key, ...] = (
    Number(name="neutral_us", unit="us", above=0.0, default=1500.0, meaning="the pulse that asks for nothing",
           reason="common practice, open-txu.org glossary: 1000 / 1500 / 2000 us"),
    Number(name="forward_full_us", unit="us", above=0.0, default=2000.0,
           meaning="the pulse that asks for full speed forward", reason="the same"),
    Number(name="reverse_full_us", unit="us", above=0.0, default=1000.0,
           meaning="the pulse that asks for full speed in reverse", reason="the same"),
    Flag(name="one_way", default=False,
         meaning="whether the drive pushes forward only: every valid pulse below the dead band asks for "
                 "nothing, and there is no reverse_full_us",
         reason="the stick's other half asks for reverse"),
    Number(name="dead_band_us", unit="us", at_least=0.0, default=25.0,
           meaning="the distance from neutral up to which nothing is asked for",
           reason="idle sticks scatter by some 23 us (RC forum post \"RX fail-safe\", 2015: 942 to 965 us)"),
    Number(name="valid_low_us", unit="us", above=0.0, default=800.0,
           meaning="the shortest pulse that counts", reason="house rule, from memory"),
    Number(name="valid_high_us", unit="us", above=0.0, default=2200.0,
           meaning="the longest pulse that counts", reason="house rule, from memory"),
    Spanned(name="arming_frames", at_least=1.0, at_most=1000.0, default=None,
            meaning="the number of neutral pulses in a row, after a start, that arming takes",
            reason="a check rehearses how many this firmware needs"),
    Spanned(name="arming_s", unit="s", at_least=0.0, at_most=20.0, default=None,
            meaning="the time from the start of main(), with the stick at neutral, that arming takes",
            reason="the same, as a time"),
)  # fmt: skip

CALIBRATION: tuple[Key, ...] = (
    Number(name="enter_us", unit="us", above=0.0,
           meaning="the pulse above which the stick asks for calibration at power-on"),
    Number(name="enter_frames", whole=True, at_least=1, at_most=1000, default=100,
           meaning="the number of valid pulses in a row above enter_us that enter calibration",
           reason="two seconds of the common 20 ms frame: nobody holds full stick at power-on so long by "
                  "mistake; common practice, no source"),
    Order(name="order", choices=("high", "neutral", "low"), default=("high", "neutral", "low"),
          meaning="the stick positions in the order in which they are learnt",
          reason="the stick is up when calibration begins, and comes down from there"),
    Number(name="hold_frames", whole=True, at_least=2, at_most=1000, default=25,
           meaning="the number of valid pulses in a row that lie still before a position counts",
           reason="half a second of the common 20 ms frame: a stick on its way is not held so long; "
                  "common practice, no source"),
    Number(name="still_us", unit="us", above=0.0, at_most=200.0, default=15.0,
           meaning="the span within which the pulses of a held stick lie",
           reason="some 1.5 % of a stick's way; idle sticks scatter by 23 us over minutes (RC forum post "
                  "\"RX fail-safe\", 2015), by less in half a second"),
    Number(name="timeout_s", unit="s", above=0.0, at_most=600.0, default=10.0,
           meaning="the time after which calibration is left with nothing changed",
           reason="three holds of half a second, and time to move the stick between them; no source"),
    Number(name="span_min_us", unit="us", above=0.0, default=200.0,
           meaning="the least distance of full stick from neutral that is taken",
           reason="two fifths of the common 500 us: less leaves too few steps; house rule, no source"),
    Number(name="span_max_us", unit="us", above=0.0, default=700.0,
           meaning="the greatest distance of full stick from neutral that is taken",
           reason="1500 us and 700 us are the ends of what counts as a pulse, 800 and 2200 us"),
)  # fmt: skip

TIMEKEEPING: tuple[Key, ...] = (
    Moments(name="moments",
            meaning="the firmware's variables that hold a moment in ticks, as [[\"file.c:name\", age in ms "
                    "from which on all are one], ...]; \"file.c:name+4\" is the part 4 bytes into it"),
    Moments(name="spans", default=(),
            meaning="the same for variables that hold a length of time in ticks", reason="none does"),
    Moments(name="wraps", default=(),
            meaning="the same for variables that count the timer's wraps", reason="none counts them"),
)  # fmt: skip

HEAT: tuple[Key, ...] = (
    Number(name="ambient_c", unit="C", at_least=-40.0, at_most=100.0, default=40.0,
           meaning="the temperature of what surrounds motor and board",
           reason="a closed hull in summer; no source"),
    Number(name="winding_k_per_w", unit="K/W", above=0.0,
           meaning="the thermal resistance from the winding to what surrounds the motor"),
    Number(name="winding_max_c", unit="C", above=0.0, default=155.0,
           meaning="the highest temperature of the winding", reason="insulation class F: IEC 60085, 155 C"),
    Number(name="fet_k_per_w", unit="K/W", above=0.0,
           meaning="the thermal resistance from one FET's junction to what surrounds the board"),
    Number(name="fet_max_c", unit="C", above=0.0, default=150.0,
           meaning="the highest junction temperature of a FET",
           reason="silicon in plastic: the absolute maximum most data sheets state; from memory"),
    Number(name="switch_ns", unit="ns", at_least=0.0, at_most=1e5, default=50.0,
           meaning="the time in which a FET's current and voltage change over",
           reason="10 nC of gate charge at the plateau from a driver of 0.2 A; common practice, no source"),
    Number(name="ripple_max_a", unit="A", above=0.0,
           meaning="the bulk capacitor's ripple current rating, root mean square"),
)  # fmt: skip

TONE: tuple[Key, ...] = (
    Text(name="name", meaning="a name for reports, such as \"ready\""),
    Number(name="mark", whole=True, at_least=FIRST_TONE_MARK, at_most=LAST_TONE_MARK,
           meaning="the number that port_mark() announces the tone with, 32 to 63"),
    Notes(name="notes", meaning="the notes as [[\"C6\", 120], ...]: name (\"\" is a pause) and length in ms"),
    Number(name="pulse_us", unit="us", above=0.0, at_most=1000.0,
           meaning="the longest time one pulse keeps a winding on"),
)  # fmt: skip

SHARED_ENTRY: tuple[Key, ...] = (
    Text(name="variable", meaning="the variable as findings name it, such as \"last.width_ticks\""),
    Text(name="why", meaning="the reason why no handler can spoil it"),
)  # fmt: skip

TABLES: Mapping[str, tuple[Key, ...]] = {
    "firmware": FIRMWARE,
    "motor": MOTOR,
    "load": LOAD,
    "bridge": BRIDGE,
    "supply": SUPPLY,
    "sense": SENSE,
    "controller": CONTROLLER,
    "throttle": THROTTLE,
    "calibration": CALIBRATION,
    "heat": HEAT,
    "timekeeping": TIMEKEEPING,
    "pins": PINS,
}

OPTIONAL_TABLES = ("firmware", "throttle")
"""Tables of which every key has a default, so that a file may leave them out."""

ABSENT_TABLES = ("calibration", "heat", "timekeeping", "pins")
"""Tables that may be absent: a firmware that learns nothing, ratings that nobody knows, states told apart by
every moment they hold, a firmware behind the seam."""

TONES = "tone"
"""Name of the list of tables, one a tone."""

SHARED = "shared"
"""Name of the list of tables that explain variables shared with handlers."""
