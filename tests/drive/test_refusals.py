"""What a drive file may not say, and the one clear error each slip gets."""

import math

import pytest

from dryspin.drive import load_drive

from .sheet import ABSENT, refusal, write_sheet

SINE = [round(math.sin(math.pi * k / 6), 6) for k in range(12)]

CASES = {
    "unknown key": (
        {"motor": {"pole_pair": 7}},
        "[motor] pole_pair is not a known key. Did you mean 'pole_pairs'?",
    ),
    "unknown key like nothing": (
        {"load": {"zzz": 7}},
        "[load] zzz is not a known key. Known keys: kq_nm_s2, coulomb_nm, viscous_nm_s, static_nm.",
    ),
    "table without a shape": (
        {"motor": {"back_emf_table": [0.0, 0.5, 1.0] * 4}},
        '[motor] back_emf_table: back_emf = "trapezoid" does not use it. Write "table" there, or remove the '
        "table.",
    ),
    "shape without a table": (
        {"motor": {"back_emf": "table"}},
        '[motor] back_emf = "table": back_emf_table is missing. Give the back-EMF of phase U at equal steps '
        "over one electrical turn, with a peak of 1.",
    ),
    "table in volts": (
        {"motor": {"back_emf": "table", "back_emf_table": [0.0, 0.1, 0.2] * 4}},
        "[motor] back_emf_table has a peak of 0.2: the peak is what kv_rpm_per_v states. Scale it to 1.",
    ),
    "table of too many values": (
        {"motor": {"back_emf": "table", "back_emf_table": SINE * 86}},
        "[motor] back_emf_table = [0.0, 0.5, 0.866025, 1.0, 0.866025, 0.5, ...]: holds 1032 numbers; it "
        "takes at most 1024. Give the back-EMF of phase U at equal steps over one electrical turn "
        "from its rising zero on, with a peak of 1.",
    ),
    "table with an offset": (
        {"motor": {"back_emf": "table", "back_emf_table": [f + 0.05 for f in SINE]}},
        "[motor] back_emf_table has a mean of 0.05: over a turn the flux of a winding comes back to what it "
        "was, so its back-EMF has none. Take the offset away, and give exactly one electrical turn.",
    ),
    "table that begins late": (
        {"motor": {"back_emf": "table", "back_emf_table": SINE[1:] + SINE[:1]}},
        "[motor] back_emf_table begins 30 degrees after its fundamental rises through zero. Begin the turn "
        "there; for a phase that was probed the other way round change all signs.",
    ),
    "table of a phase probed the other way round": (
        {"motor": {"back_emf": "table", "back_emf_table": [-f for f in SINE]}},
        "[motor] back_emf_table begins 180 degrees after its fundamental rises through zero. Begin the turn "
        "there; for a phase that was probed the other way round change all signs.",
    ),
    "windings of next to no inductance": (
        {"motor": {"l_factors": [0.001, 0.001, 0.001]}},
        "[motor] l_phase_h: the time constant of the winding, l_phase_h / (r_phase_ohm + r_on_ohm), is "
        "2.67e-07 s at its shortest; no drive has less than 1e-06 s. Look for a slip in the powers of ten.",
    ),
    "low-pass that is none": (
        {"sense": {"tau_s": 1e-9}},
        "[sense] tau_s = 1e-09 s at its lowest is below 1e-07 s, what divider and pin have without a "
        "capacitor. Write 0 for no low-pass, or look for a slip in the powers of ten.",
    ),
    "clamp above what the pin bears": (
        {"sense": {"r_top_ohm": 5e3, "pin_clamp_v": 5.6}},
        "[sense] pin_clamp_v = 5.6 V lets the sense pin rise to 5.6 V; it bears 5.5 V, 0.5 V above the "
        "controller's supply. Clamp it lower.",
    ),
    "two factors": (
        {"motor": {"r_factors": [1.0, 1.1]}},
        "[motor] r_factors = [1.0, 1.1]: holds 2 numbers; it needs 3. Give factors on the resistance of U, "
        "V, W.",
    ),
    "factor of nothing": (
        {"motor": {"l_factors": [1.0, 0.0, 1.0]}},
        "[motor] l_factors = [1.0, 0.0, 1.0]: holds 0.0, which must be above 0. Give factors on the "
        "inductance of U, V, W.",
    ),
    "mutual inductance beyond the self": (
        {"motor": {"mutual_h": [3e-5, 0.0, 0.0]}},
        "[motor] mutual_h = [3e-05, 0, 0] H beside l_phase_h = 2.8e-05 H: some currents would store negative "
        "energy. Give deviations from the common mutual inductance, a few per cent of l_phase_h.",
    ),
    "breaks away by less than it brakes": (
        {"load": {"coulomb_nm": 3e-3, "static_nm": 2e-3}},
        "[load] static_nm = 0.002 Nm at its lowest is below coulomb_nm = 0.003 Nm: a rotor at rest would "
        "break away by less than what then brakes it. Raise it, or remove it.",
    ),
    "missing key": (
        {"motor": {"pole_pairs": ABSENT}},
        "[motor] pole_pairs is missing. Give the number of pole PAIRS, half of the number of magnets.",
    ),
    "missing key with unit": (
        {"supply": {"c_f": ABSENT}},
        "[supply] c_f is missing. Give the bulk capacitor on the board, in F.",
    ),
    "wrong unit, converted": (
        {"motor": {"l_phase_uh": 28}},
        "[motor] l_phase_uh: the unit is in the key's name; write l_phase_h, in H: l_phase_h = 2.8e-05 "
        "(the inductance of one phase, half of the value between two terminals).",
    ),
    "wrong unit, milliohm": (
        {"supply": {"r_mohm": 25}},
        "[supply] r_mohm: the unit is in the key's name; write r_ohm, in ohm: r_ohm = 0.025 "
        "(the resistance of source and leads together).",
    ),
    "wrong unit, megahertz": (
        {"controller": {"f_cpu_mhz": 16}},
        "[controller] f_cpu_mhz: the unit is in the key's name; write f_cpu_hz, in Hz: f_cpu_hz = 1.6e+07 "
        "(the CPU clock of the part).",
    ),
    "no unit": (
        {"motor": {"kv": 1000}},
        "[motor] kv: the unit is in the key's name; write kv_rpm_per_v, in rpm/V "
        "(the no-load speed per volt, line to line).",
    ),
    "text for a number": (
        {"motor": {"r_phase_ohm": "0.08"}},
        '[motor] r_phase_ohm = "0.08": is a text, not a number (in ohm). '
        "Give the resistance of one phase, half of the value between two terminals.",
    ),
    "bool for a number": (
        {"motor": {"r_phase_ohm": True}},
        "[motor] r_phase_ohm = true: is true or false, not a number (in ohm). "
        "Give the resistance of one phase, half of the value between two terminals.",
    ),
    "bool for a whole number": (
        {"motor": {"pole_pairs": True}},
        "[motor] pole_pairs = true: is true or false, not a whole number. "
        "Give the number of pole PAIRS, half of the number of magnets.",
    ),
    "number for a bool": (
        {"supply": {"sinks": 1}},
        "[supply] sinks = 1: is a number, not true or false. Give whether the supply takes current back.",
    ),
    "number for a text": (
        {"motor": {"kv_from": 3}},
        "[motor] kv_from = 3: is a number, not a text in quotes. Give how kv was obtained, such as "
        '"no-load test".',
    ),
    "empty text": (
        {"motor": {"kv_from": " "}},
        '[motor] kv_from = " ": is empty. Give how kv was obtained, such as "no-load test".',
    ),
    "list for a number": (
        {"sense": {"r_top_ohm": [1, 2]}},
        "[sense] r_top_ohm = [1, 2]: is a list, not a number (in ohm). Give the divider's resistor to the "
        "terminal.",
    ),
    "broken pole pairs": (
        {"motor": {"pole_pairs": 3.5}},
        "[motor] pole_pairs = 3.5: is not a whole number. "
        "Give the number of pole PAIRS, half of the number of magnets.",
    ),
    "nan": (
        {"motor": {"j_kg_m2": math.nan}},
        "[motor] j_kg_m2 = nan kg m2: is not a finite number (in kg m2). "
        "Give the inertia of rotor and propeller together.",
    ),
    "inf": (
        {"bridge": {"v_max_v": math.inf}},
        "[bridge] v_max_v = inf V: is not a finite number (in V). "
        "Give the highest bus voltage, the lowest rating of FETs, capacitor and regulator.",
    ),
    "negative resistance": (
        {"motor": {"r_phase_ohm": -0.08}},
        "[motor] r_phase_ohm = -0.08 ohm: must be above 0 ohm. "
        "Give the resistance of one phase, half of the value between two terminals.",
    ),
    "zero pole pairs": (
        {"motor": {"pole_pairs": 0}},
        "[motor] pole_pairs = 0: must be at least 1. Give the number of pole PAIRS, half of the number of "
        "magnets.",
    ),
    "negative propeller": (
        {"load": {"kq_nm_s2": -1e-7}},
        "[load] kq_nm_s2 = -1e-07 Nm s2: must be at least 0 Nm s2. "
        "Give the propeller factor, torque = kq w |w|.",
    ),
    "inductance in microhenry": (
        {"motor": {"l_phase_h": 28}},
        "[motor] l_phase_h = 28 H: must be at most 1 H. "
        "Give the inductance of one phase, half of the value between two terminals.",
    ),
    "range out of order": (
        {"supply": {"v_v": {"low": 12.6, "nominal": 11.1, "high": 9.6}}},
        "[supply] v_v = {low = 12.6, nominal = 11.1, high = 9.6}: must be in the order low <= nominal <= "
        "high. "
        "Give the open-circuit voltage.",
    ),
    "range without high": (
        {"supply": {"v_v": {"low": 9.6, "nominal": 11.1}}},
        "[supply] v_v = {low = 9.6, nominal = 11.1}: lacks 'high'; a range is {low, nominal, high}. "
        "Give the open-circuit voltage.",
    ),
    "range with more": (
        {"supply": {"v_v": {"min": 9.6, "nominal": 11.1, "high": 12}}},
        "[supply] v_v = {min = 9.6, nominal = 11.1, high = 12}: has an unknown part 'min'; "
        "a range is {low, nominal, high}. Give the open-circuit voltage.",
    ),
    "end of a range below zero": (
        {"supply": {"v_v": {"low": -1, "nominal": 11.1, "high": 12}}},
        "[supply] v_v = {low = -1, nominal = 11.1, high = 12}: low = -1 must be above 0 V. "
        "Give the open-circuit voltage.",
    ),
    "bool in a range": (
        {"supply": {"v_v": {"low": 1, "nominal": 11.1, "high": True}}},
        "[supply] v_v = {low = 1, nominal = 11.1, high = true}: high = true is true or false, "
        "not a number (in V). Give the open-circuit voltage.",
    ),
    "unknown supply kind": (
        {"supply": {"kind": "pak"}},
        "[supply] kind = \"pak\": is not known. Did you mean 'pack'? "
        'Give "pack" (battery) or "lab" (laboratory supply).',
    ),
    "other part": (
        {"controller": {"part": "m0plus"}},
        '[controller] part = "m0plus": is not known. Known values: mega168. Give the controller\'s part '
        "family.",
    ),
    "clock too slow": (
        {"controller": {"f_cpu_hz": 32768}},
        "[controller] f_cpu_hz = 32768 Hz: must be at least 1000000 Hz. Give the CPU clock of the part.",
    ),
    "clock too fast": (
        {"controller": {"f_cpu_hz": 48e6}},
        "[controller] f_cpu_hz = 48000000.0 Hz: must be at most 20000000 Hz. Give the CPU clock of the part.",
    ),
    "chopping below": (
        {"bridge": {"chopping": "low side"}},
        '[bridge] chopping = "low side" needs [pins]: port_leg() chops the high FETs, whose pins are the '
        'carriers\'. Write "high side".',
    ),
    "carrier the part cannot make": (
        {"bridge": {"f_pwm_hz": 20000}},
        "[bridge] f_pwm_hz = 20000 Hz: mega168 at 16 MHz cannot make this carrier; nearest is 31372.549 Hz "
        "(phase-correct, prescaler 1). Write 31373, the one the rig runs.",
    ),
    "carrier two hertz off": (
        {"bridge": {"f_pwm_hz": 31375}},
        "[bridge] f_pwm_hz = 31375 Hz: mega168 at 16 MHz cannot make this carrier; nearest is 31372.549 Hz "
        "(phase-correct, prescaler 1). Write 31373, the one the rig runs.",
    ),
    "fast carrier": (
        {"bridge": {"f_pwm_hz": 62500}},
        "[bridge] f_pwm_hz = 62500 Hz: mega168 at 16 MHz can make this carrier (fast, prescaler 1), "
        "but it is not on the rig yet. Write 31373 (phase-correct, prescaler 1).",
    ),
    "slow fast carrier": (
        {"bridge": {"f_pwm_hz": 7812.5}},
        "[bridge] f_pwm_hz = 7812.5 Hz: mega168 at 16 MHz can make this carrier (fast, prescaler 8), "
        "but it is not on the rig yet. Write 31373 (phase-correct, prescaler 1).",
    ),
    "missing pull-downs": (
        {"bridge": {"pull_downs": ABSENT}},
        "[bridge] pull_downs is missing. Give whether each gate has a resistor that holds it off by itself.",
    ),
    "no pull-downs": (
        {"bridge": {"pull_downs": False}},
        "[bridge] pull_downs = false: during reset the part's pins float, and a floating gate can turn "
        "both FETs "
        "of a leg on. Fit a pull-down on each gate driver input and write true.",
    ),
    "sense pin above supply": (
        {"sense": {"r_top_ohm": 10e3}},
        "[sense] r_top_ohm = 10000 ohm over r_bottom_ohm = 10000 ohm puts 5.9 V on the sense pin at 11.8 V "
        "(supply at its highest and one diode drop), above the controller's 5 V. Use at least 1.36e+04 ohm "
        "on top.",
    ),
    "weak FETs": (
        {"supply": {"v_v": {"low": 9, "nominal": 11, "high": 20.5}}, "sense": {"r_top_ohm": 47e3}},
        "[bridge] v_max_v = 20 V is below the supply's highest 20.5 V. "
        "Use FETs and capacitor for more, or lower [supply] v_v.",
    ),
    "no pulse between dead times": (
        {"bridge": {"dead_time_ns": 16000}},
        "[bridge] dead_time_ns = 16000 ns twice in each carrier period of 31875 ns leaves no pulse. "
        "Shorten it.",
    ),
    "too little supply for the clock": (
        {"controller": {"v_supply_v": 3.3}, "sense": {"r_top_ohm": 47e3}},
        "[controller] f_cpu_hz = 1.6e+07 Hz is too fast for v_supply_v = 3.3 V, which carries 13.3 MHz. "
        "Raise the supply or slow the clock.",
    ),
    "oscillator that does not exist": (
        {"controller": {"clock": "rc"}},
        '[controller] clock = "rc": the internal oscillator gives 8 MHz, not 16 MHz. '
        'Write "crystal" or "resonator", or f_cpu_hz = 8e6.',
    ),
    "throttle out of order": (
        {"throttle": {"valid_low_us": 1000}},
        "[throttle] valid_low_us: valid_low_us = 1000 us must be below reverse_full_us = 1000 us. "
        "Put the points in order from the shortest pulse to the longest.",
    ),
    "dead band up to full": (
        {"throttle": {"dead_band_us": 500}},
        "[throttle] reverse_full_us: reverse_full_us = 1000 us must be below neutral_us - dead_band_us = "
        "1000 us. "
        "Put the points in order from the shortest pulse to the longest.",
    ),
    "reverse of a drive that has none": (
        {"throttle": {"one_way": True, "reverse_full_us": 1000}},
        "[throttle] reverse_full_us = 1000 us clashes with one_way = true, where no pulse asks for reverse. "
        "Take one of the two out.",
    ),
    "one way, and off is no pulse": (
        {"throttle": {"one_way": True, "neutral_us": 780}},
        "[throttle] valid_low_us: valid_low_us = 800 us must be below neutral_us = 780 us. "
        "Put the points in order from the shortest pulse to the longest.",
    ),
    "no sources": (
        {"firmware": {"sources": []}},
        "[firmware] sources = []: is an empty list. "
        "Give the C sources (with [pins] C++ and sketches, too) as glob patterns, "
        "relative to the firmware's directory.",
    ),
    "number among the sources": (
        {"firmware": {"sources": ["*.c", 3]}},
        '[firmware] sources = ["*.c", 3]: holds 3, which is not a text that says something. '
        "Give the C sources (with [pins] C++ and sketches, too) as glob patterns, "
        "relative to the firmware's directory.",
    ),
    "macro that is no identifier": (
        {"firmware": {"defines": {"A-B": "1"}}},
        "[firmware] defines = {A-B = \"1\"}: defines 'A-B', which is not a C identifier. "
        "Give macros as a table of names and values.",
    ),
    "macro with a fraction": (
        {"firmware": {"defines": {"GAIN": 0.5}}},
        "[firmware] defines = {GAIN = 0.5}: gives GAIN the value 0.5, not a text or whole number. "
        "Give macros as a table of names and values.",
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_slip_is_named_with_key_value_limit_and_remedy(case, tmp_path):
    """One error, complete: nobody should have to read this code to correct a file."""
    changes, message = CASES[case]

    assert refusal(write_sheet(tmp_path, **changes)) == message


def test_sheet_without_changes_is_taken(tmp_path):
    """Else the cases above could be refused for another reason."""
    assert load_drive(write_sheet(tmp_path)).motor.pole_pairs == 7


def test_a_drive_that_pushes_one_way_may_be_off_at_1000_us(tmp_path):
    """The usual end of the stick; 1000 us is also the default of reverse_full_us, which is not there then."""
    throttle = load_drive(write_sheet(tmp_path, throttle={"one_way": True, "neutral_us": 1000})).throttle

    assert throttle.one_way
    assert throttle.valid_low_us < throttle.reverse_full_us < throttle.neutral_us
