"""Which carrier the timers of a source make: clock, mode and top by what it writes to their registers."""

import re

from dryspin.registers.constants import Constants

OUTPUTS = {
    "COM0A1": "PD6", "COM0B1": "PD5", "COM1A1": "PB1", "COM1B1": "PB2", "COM2A1": "PB3", "COM2B1": "PD3",
}  # fmt: skip
"""Pin of each compare output, by the bit that connects it (data sheet, "Alternate Port Functions")."""

TIMER_OF = {"PD6": 0, "PD5": 0, "PB1": 1, "PB2": 1, "PB3": 2, "PD3": 2}

DIVIDERS = (
    {1: 1, 2: 8, 3: 64, 4: 256, 5: 1024},
    {1: 1, 2: 8, 3: 64, 4: 256, 5: 1024},
    {1: 1, 2: 8, 3: 32, 4: 64, 5: 128, 6: 256, 7: 1024},
)
"""Of the CPU clock, by timer and its clock select bits (data sheet, "Clock Select Bit Description")."""

SKETCH_DIVIDER = 64
"""As the sketch functions leave all three timers: timer 0 fast, the others phase-correct."""

_FIXED = ({0: 256, 1: 510, 3: 256}, {0: 65536, 1: 510, 2: 1022, 3: 2046, 5: 256, 6: 512, 7: 1024})
"""Clocks of a period in the modes of 8 and of 16 bits that have a top of their own; twice the top where the
mode counts up and down (data sheet, "Waveform Generation Mode Bit Description")."""

_BY_REGISTER = (
    {2: ("OCR{n}A", 1), 7: ("OCR{n}A", 1), 5: ("OCR{n}A", 2)},
    {
        **{4: ("OCR1A", 1), 15: ("OCR1A", 1), 9: ("OCR1A", 2), 11: ("OCR1A", 2)},
        **{12: ("ICR1", 1), 14: ("ICR1", 1), 8: ("ICR1", 2), 10: ("ICR1", 2)},
    },
)
"""The same for a top in a register: 1 counts to it and begins anew, 2 counts up and down."""


def chopped_outputs(text: str) -> list[str]:
    """Pins of compare outputs that the source connects."""
    return [pin for bit, pin in OUTPUTS.items() if re.search(rf"\b{bit}\b", text)]


def divider_of(text: str, constants: Constants, timer: int) -> int | None:
    """What the timer's clock is divided by; None where the source gives no value, or several."""
    values = [value & 7 for value in _stored(text, constants, f"TCCR{timer}B")]
    running = {value for value in values if value}
    return DIVIDERS[timer].get(next(iter(running))) if len(running) == 1 else None


def carrier_hz(text: str, constants: Constants, chopped: list[str], f_cpu_hz: float, sketch: bool) -> float:
    """Of the first chopped pin's timer, else of the one whose handlers write ports; 0.0 if unseen."""
    timers = [TIMER_OF[chopped[0]]] if chopped else _switching(text, constants)
    if len(timers) != 1:
        return 0.0
    timer = timers[0]
    divider = divider_of(text, constants, timer)
    untouched = not re.search(rf"\bTCCR{timer}B\s*\|?=", text)
    if divider is None and sketch and untouched:
        divider = SKETCH_DIVIDER
    clocks = _clocks(text, constants, timer, sketch)
    return f_cpu_hz / divider / clocks if divider and clocks else 0.0


def _clocks(text: str, constants: Constants, timer: int, sketch: bool) -> float:
    """Clocks of one period; 0 where the mode or its top is not plain to see."""
    low = {value & 3 for value in _stored(text, constants, f"TCCR{timer}A")}
    high = {value >> 3 & (3 if timer == 1 else 1) for value in _stored(text, constants, f"TCCR{timer}B")}
    # Bits set one after the other add up; a store of 0 stops the timer or clears the way.
    low, high = low - {0}, high - {0}
    if len(low) > 1 or len(high) > 1:
        return 0.0
    kept = (3 if timer == 0 else 1) if sketch and not low else 0
    mode = next(iter(low), kept) | next(iter(high), 0) << 2
    kind = int(timer == 1)
    if mode in _FIXED[kind]:
        return float(_FIXED[kind][mode])
    if mode not in _BY_REGISTER[kind]:
        return 0.0
    name, times = _BY_REGISTER[kind][mode]
    tops = set(_stored(text, constants, name.format(n=timer), whole=True))
    if len(tops) != 1 or (top := next(iter(tops))) <= 0:
        return 0.0
    return float(top + 1) if times == 1 else 2.0 * top


def _stored(text: str, constants: Constants, register: str, whole: bool = False) -> list[int]:
    """Values of the constant stores to a register; `whole`: -1 for one that is computed."""
    found = []
    for value in re.findall(rf"\b{register}\s*\|?=(?!=)\s*([^;]+);", text):
        number = constants.value(value)
        if number is not None:
            found.append(number)
        elif whole:
            found.append(-1)
    return found


def _switching(text: str, constants: Constants) -> list[int]:
    """Timers of which one handler sets and another, or the same, clears pins: a carrier made by code."""
    found = set()
    for vector in re.finditer(r"\bISR\s*\(\s*TIMER([012])_(?:OVF|COMPA|COMPB)_vect\b[^)]*\)\s*\{", text):
        names = re.findall(r"\b(\w+)\s*(?:\|=|&=|=)(?!=)", _body(text, vector.end()))
        called = re.findall(r"\b(\w+)\s*[;(]", _body(text, vector.end()))
        stores = [constants.port(name) for name in names]
        stores += [
            constants.port(store)
            for name in called
            for store in re.findall(r"\b(\w+)\s*(?:\|=|&=)", constants.texts.get(name, ""))
        ]
        if any(store.startswith("PORT") for store in stores):
            found.add(int(vector[1]))
    return sorted(found)


def _body(text: str, begin: int) -> str:
    level = 1
    for k in range(begin, len(text)):
        level += (text[k] == "{") - (text[k] == "}")
        if level == 0:
            return text[begin:k]
    return text[begin:]
