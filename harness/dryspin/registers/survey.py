"""What a firmware's source shows of its pins, timers and clock, read from its text alone.

A help to begin with, and no proof: what is computed, or hidden in a macro, is not seen.
"""

import re
from dataclasses import dataclass

_COMMENT = re.compile(r"//[^\n]*|/\*.*?\*/", re.DOTALL)
_CLOCK = re.compile(r"#\s*define\s+F_CPU\s+\(?(\d+)")
_NAMED = re.compile(r"(?:#\s*define\s+(\w+)\s+|\b(\w+)\s*=\s*)(A?\d+)\b")
_BIT = re.compile(r"\bP([BCD])(\d)\b|\bDD([BCD])(\d)\b")

_MEANT = (re.compile(r"#\s*define\s+(\w+)\s+(\S[^\n]*)"), re.compile(r"\b([A-Z_]\w*)\s*=\s*([^,;=]+)[,;]"))
"""Names of masks, as macros and as constants."""

OUTPUTS = {
    "COM0A1": "PD6", "COM0B1": "PD5", "COM1A1": "PB1", "COM1B1": "PB2", "COM2A1": "PB3", "COM2B1": "PD3",
}  # fmt: skip
"""Pin of each compare output, by the bit that connects it (data sheet, "Alternate Port Functions")."""

_TIMER_OF = {"PD6": 0, "PD5": 0, "PB1": 1, "PB2": 1, "PB3": 2, "PD3": 2}
_DIVIDERS = {
    0: {"CS00": 1, "CS01": 8, "CS02": 256, "CS01|CS00": 64, "CS02|CS00": 1024},
    1: {"CS10": 1, "CS11": 8, "CS12": 256, "CS11|CS10": 64, "CS12|CS10": 1024},
    2: {"CS20": 1, "CS21": 8, "CS21|CS20": 32, "CS22": 64, "CS22|CS20": 128, "CS22|CS21": 256},
}


@dataclass(frozen=True)
class Survey:
    """What was seen; empty or 0 where nothing was.

    `chopped`: pins of compare outputs that are connected; `outputs`: other pins made outputs;
    `f_pwm_hz` of the first chopped pin's timer; `notes`: what a reader should look at. `neutral_us`: the
    pulse up to which nothing is asked for, or around which; `two_ways`: whether the stick asks for both
    directions, None where the source leaves it open.
    """

    f_cpu_hz: float = 0.0
    chopped: tuple[str, ...] = ()
    outputs: tuple[str, ...] = ()
    throttle: str = ""
    f_pwm_hz: float = 0.0
    neutral_us: float = 0.0
    two_ways: bool | None = None
    notes: tuple[str, ...] = ()


def surveyed(text: str, sketch: bool) -> Survey:
    """Look through the text of all sources; `sketch`: pins are also counted as boards do."""
    text = _COMMENT.sub(" ", text)
    numbers = {a or b: n for a, b, n in _NAMED.findall(text)}
    clock = _CLOCK.search(text)
    f_cpu_hz = float(clock[1]) if clock else 0.0
    chopped = [pin for bit, pin in OUTPUTS.items() if re.search(rf"\b{bit}\b", text)]
    written = _calls(text, "analogWrite", numbers) if sketch else []
    chopped += [pin for pin in written if pin in _TIMER_OF and pin not in chopped]
    outputs = [pin for pin in _driven(text, numbers, sketch) if pin not in chopped]
    neutral_us, two_ways = _stick(text)
    return Survey(
        f_cpu_hz=f_cpu_hz,
        chopped=tuple(chopped),
        outputs=tuple(outputs),
        throttle=_throttle(text, numbers, sketch),
        f_pwm_hz=_carrier(text, chopped, f_cpu_hz or 16e6, sketch),
        neutral_us=neutral_us,
        two_ways=two_ways,
        notes=tuple(_notes(text, sketch)),
    )


def board_pin(name: str) -> str:
    """Pin of a board's number, "9" or "A0"; "" where it has none."""
    if name.startswith("A"):
        name = str(14 + int(name[1:]))
    number = int(name)
    if number > 19:
        return ""
    return f"PD{number}" if number < 8 else f"PB{number - 8}" if number < 14 else f"PC{number - 14}"


def _resolved(argument: str, numbers: dict[str, str]) -> str:
    argument = numbers.get(argument.strip(), argument.strip())
    return board_pin(argument) if re.fullmatch(r"A?\d+", argument) else ""


def _calls(text: str, function: str, numbers: dict[str, str]) -> list[str]:
    found = re.findall(rf"\b{function}\s*\(\s*([\w]+)\s*[,)]", text)
    return list(dict.fromkeys(pin for name in found if (pin := _resolved(name, numbers))))


def _driven(text: str, numbers: dict[str, str], sketch: bool) -> list[str]:
    meant = {name: value for pattern in _MEANT for name, value in pattern.findall(text)}
    pins: list[str] = []
    for port, value in re.findall(r"\bDDR([BCD])\s*\|?=\s*([^;]+);", text):
        whole = re.sub(r"\b[A-Z_]\w*\b", lambda found: meant.get(found[0], found[0]), value)
        for a, a_bit, b, b_bit in _BIT.findall(whole):
            if (a or b) == port:
                pins.append(f"P{port}{a_bit or b_bit}")
        if bits := re.fullmatch(r"\s*(0[bB][01]+|0[xX][0-9a-fA-F]+)\s*", value):
            pins += [f"P{port}{k}" for k in range(8) if int(bits[1], 0) >> k & 1]
    if sketch:
        for name in re.findall(r"\bpinMode\s*\(\s*(\w+)\s*,\s*OUTPUT\s*\)", text):
            if pin := _resolved(name, numbers):
                pins.append(pin)
    return list(dict.fromkeys(pins))


def _throttle(text: str, numbers: dict[str, str], sketch: bool) -> str:
    if re.search(r"\bICR1\b|\bTIMER1_CAPT_vect\b", text):
        return "PB0"
    if sketch and (pins := _calls(text, "pulseIn", numbers)):
        return pins[0]
    for pin, pattern in (("PD2", r"\bINT0_vect\b"), ("PD3", r"\bINT1_vect\b")):
        if re.search(pattern, text):
            return pin
    if sketch and (
        found := re.search(r"\battachInterrupt\s*\(\s*(?:digitalPinToInterrupt\s*\(\s*)?(\w+)", text)
    ):
        name = numbers.get(found[1], found[1])
        number = {"0": "2", "1": "3"}.get(name, name) if "digitalPinToInterrupt" not in found[0] else name
        return _resolved(number, numbers)
    return ""


_BACK = re.compile(r"\b\w*(?:revers|backward|astern|back_?ways|counterclock|ccw)\w*", re.IGNORECASE)
_REST = re.compile(
    r"\b\w*(?:neutral|idle|centre|center|middle|stop|zero|deadband|dead_band)\w*\b[^;\n]{0,20}?"
    r"(?<![\w.])([12]\d{3}|9\d\d)(?![\w.])",
    re.IGNORECASE,
)


def _stick(text: str) -> tuple[float, bool | None]:
    """Pulse at rest (us, 0.0 unseen), and whether the stick asks for both directions.

    Both: something is named after going back, and the stick rests in the middle of 1000 to 2000 us. One:
    nothing is, and it rests below. All else is open (widths: open-txu.org glossary, 1000 / 1500 / 2000).
    """
    rests = [float(number) for number in _REST.findall(text)]
    back = bool(_BACK.search(text))
    if not rests:
        return 0.0, None
    middle = [us for us in rests if 1400.0 <= us <= 1600.0]
    if back:
        return (middle[0], True) if middle else (rests[0], None)
    return rests[0], False if rests[0] <= 1300.0 else None


def _carrier(text: str, chopped: list[str], f_cpu_hz: float, sketch: bool) -> float:
    """By the first chopped pin's timer, formulae as in drive/carrier.py; 0.0 where the text is silent."""
    if not chopped:
        return 0.0
    timer = _TIMER_OF[chopped[0]]
    control = " ".join(re.findall(rf"\bTCCR{timer}[AB]\s*\|?=\s*([^;]+);", text))
    clocks = "|".join(dict.fromkeys(re.findall(rf"\bCS{timer}\d\b", control)))
    divider = _DIVIDERS[timer].get(clocks) or _DIVIDERS[timer].get("|".join(reversed(clocks.split("|"))))
    if divider is None and sketch and not clocks:
        divider = 64  # as the sketch functions leave it
    if divider is None or (timer == 1 and re.search(r"\bWGM13\b", control)):
        return 0.0
    fast = bool(re.search(rf"\bWGM{timer}1\b", control)) if timer != 1 else "WGM12" in control
    if sketch and timer == 0 and f"WGM{timer}0" not in control:
        fast = True
    return f_cpu_hz / (256.0 if fast else 510.0) / divider


def _notes(text: str, sketch: bool) -> list[str]:
    notes = []
    if sketch and re.search(r"\bACSR\b", text) and not re.search(r"\bADCSRA\b", text):
        notes.append("the sketch functions leave the ADC on, and the comparator's minus input at AIN1 = PD7")
    if re.search(r"\bACBG\b", text):
        notes.append("ACBG of the comparator is not modelled")
    return notes
