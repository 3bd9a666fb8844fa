"""What a source shows of its throttle: the pin, the pulse at rest, which pulses count, one way or both."""

import re
from dataclasses import dataclass

from dryspin.registers.constants import Constants
from dryspin.registers.timers_seen import divider_of
from dryspin.registers.written import Written

_BACK = re.compile(r"\b\w*(?:revers|backward|astern|back_?ways|counterclock|ccw)\w*", re.IGNORECASE)
_RESTS = r"\w*(?:neutral|idle|centre|center|middle|stop|zero|deadband|dead_band)\w*"
_REST = re.compile(rf"\b{_RESTS}\b[^;\n]{{0,20}}?(?<![\w.])(\d{{3,4}})(?![\w.])", re.IGNORECASE)
_STICK_NAME = re.compile(
    r"throttle|stick|servo|ppm|rc_?(?:in|pin|pulse)|pulse_?(?:in|pin)|receiver", re.IGNORECASE
)
_NO_PULSE = re.compile(r"rpm|speed|adc|volt|mv|temp|count|interval|period", re.IGNORECASE)
_PAIR = re.compile(
    r"\b(\w+)\s*([<>])=?\s*([^|&<>(){};?]+?)\s*(\|\||&&)\s*\(?\s*\1\s*([<>])=?\s*([^|&<>(){};?]+?)\s*[)|&;?]"
)

RESTS_US = (900.0, 1700.0)
SHORTEST_US, LONGEST_US = (500.0, 1300.0), (1700.0, 2700.0)
"""Where a stick rests, and where the ends of what counts as a servo pulse lie: common practice around 1000 to
2000 us, no source."""


@dataclass(frozen=True)
class StickSeen:
    """Empty, 0.0 or None where the source leaves it open.

    `rest_us`: the pulse up to which nothing is asked for, or around which. `two_ways`: whether the stick asks
    for both directions. `valid_us`: shortest and longest pulse that count.
    """

    pin: str = ""
    rest_us: float = 0.0
    two_ways: bool | None = None
    valid_us: tuple[float, float] = (0.0, 0.0)


def stick_seen(text: str, constants: Constants, written: Written, f_cpu_hz: float) -> StickSeen:
    """Of a source without its comments."""
    divider = divider_of(text, constants, 1)
    tick_us = divider / f_cpu_hz * 1e6 if divider else 1.0
    rest_us, two_ways = _ways(text, tick_us)
    return StickSeen(_pin(text, constants, written), rest_us, two_ways, _valid(text, constants, tick_us))


def _pin(text: str, constants: Constants, written: Written) -> str:
    if re.search(r"\bTIMER1_CAPT_vect\b|\bICES1\b", text):
        return "PB0"
    for found in re.finditer(r"\bpulseIn\s*\(\s*(\w+)\s*,", text):
        if written.sketch and (pin := written.board(found[1])):
            return pin
    named = {
        pin
        for name in constants.texts
        if _STICK_NAME.search(name)
        for pin in written.pins_of(name) | _read(text, name, constants)
    } - set(written.outputs)
    if len(named) == 1:
        return named.pop()
    for register, value in re.findall(r"\bPCMSK([012])\s*\|?=\s*([^;]+);", text):
        bits = re.findall(r"\bPCINT(\d+)\b", value)
        if len(bits) == 1:
            return f"P{'BCD'[int(register)]}{int(bits[0]) - 8 * int(register)}"
    for pin, pattern in (("PD2", r"\bINT0_vect\b"), ("PD3", r"\bINT1_vect\b")):
        if re.search(pattern, text):
            return pin
    attached = re.search(r"\battachInterrupt\s*\(\s*(digitalPinToInterrupt\s*\(\s*)?(\w+)", text)
    if written.sketch and attached:
        number = constants.value(attached[2])
        return written.board(str(number if attached[1] else {0: 2, 1: 3}.get(number or 0, number)))
    return ""


def _read(text: str, name: str, constants: Constants) -> set[str]:
    """Pins at which `name` is looked for, as in PIND & _BV(THROTTLE)."""
    found = set()
    for register, value in re.findall(r"\b(\w+)\s*&\s*([^;{}&|]+)", text):
        port = constants.port(register)
        bit = constants.value(name)
        if port.startswith("PIN") and re.search(rf"\b{re.escape(name)}\b", value) and bit is not None:
            shifted = re.search(
                rf"(?:_BV|bit|BIT)\s*\(\s*{re.escape(name)}\b|<<\s*\(?\s*{re.escape(name)}\b", value
            )
            bits = [bit] if shifted else [k for k in range(8) if bit >> k & 1]
            found |= {f"P{port[-1]}{k}" for k in bits if 0 <= k <= 7}
    return found


def _ways(text: str, tick_us: float) -> tuple[float, bool | None]:
    """Pulse at rest (us, 0.0 unseen), and whether the stick asks for both directions.

    Both: something is named after going back, and the stick rests in the middle of 1000 to 2000 us. One:
    nothing is, and it rests below. All else is open (widths: open-txu.org glossary, 1000 / 1500 / 2000).
    """
    numbers = [float(number) for number in _REST.findall(text)]
    rests = [number for number in numbers if RESTS_US[0] <= number <= RESTS_US[1]]
    rests = rests or [us for number in numbers if RESTS_US[0] <= (us := number * tick_us) <= RESTS_US[1]]
    back = bool(_BACK.search(text))
    if not rests:
        return 0.0, None
    middle = [us for us in rests if 1400.0 <= us <= 1600.0]
    if back:
        return (middle[0], True) if middle else (rests[0], None)
    return rests[0], False if rests[0] <= 1300.0 else None


def _valid(text: str, constants: Constants, tick_us: float) -> tuple[float, float]:
    """The two constants of one condition that a pulse is compared with, in us or in ticks of timer 1."""
    found = set()
    for name, first, a, joined, second, b in _PAIR.findall(text):
        values = constants.value(a), constants.value(b)
        if None in values or first == second or _NO_PULSE.search(name):
            continue
        # Outside: w < a || w > b. Inside: w > a && w < b.
        if (joined == "||") == (first == "<"):
            low, high = values
        else:
            continue
        for scale in (1.0, tick_us):
            ends = float(low or 0) * scale, float(high or 0) * scale
            if SHORTEST_US[0] <= ends[0] <= SHORTEST_US[1] and LONGEST_US[0] <= ends[1] <= LONGEST_US[1]:
                found.add(ends)
    return found.pop() if len(found) == 1 else (0.0, 0.0)
