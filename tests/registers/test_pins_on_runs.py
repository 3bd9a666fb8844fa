"""Polarity of gate inputs, delays of level shifters and marks at pins, as they show in a recording."""

import numpy as np
import pytest

from dryspin.monitors import judge
from dryspin.recording import LEGS, Mark, Recording, Signal

from .conftest import RegisterBench

STEP = """\
    int main(void)
    {{
        PORTD = {idle_d}; PORTB = {idle_b};
        DDRD = _BV(PD5) | _BV(PD4) | _BV(PD3); DDRB = _BV(PB3) | _BV(PB1) | _BV(PB2);
        _delay_ms(1);
        PORTB {low_on}; PORTD {high_on};
        _delay_ms(2);
        PORTD {high_off}; PORTB {low_off};
        stop();
    }}
"""
HEAD = "#include <util/delay.h>\n"


def stepped(bench: RegisterBench, *, high: str = "high", low: str = "high", **pins: float) -> Recording:
    """High FET of U and low FET of V on for 2 ms, by a firmware written for inputs of that polarity."""

    def levels(bit: str, on: bool, active: str) -> str:
        return f"|= _BV({bit})" if on == (active == "high") else f"&= (uint8_t)~_BV({bit})"

    text = STEP.format(
        idle_d=("_BV(PD5) | _BV(PD3)" if high == "low" else "0") + (" | _BV(PD4)" if low == "low" else ""),
        idle_b=("_BV(PB3)" if high == "low" else "0") + (" | _BV(PB1) | _BV(PB2)" if low == "low" else ""),
        high_on=levels("PD5", True, high),
        high_off=levels("PD5", False, high),
        low_on=levels("PB1", True, low),
        low_off=levels("PB1", False, low),
    )
    return bench.wired(high_active=high, low_active=low, **pins).run(HEAD + text, 0.075)


def edges(recording: Recording, signal: Signal) -> list[tuple[int, int]]:
    """(cycle, value) from main() on."""
    cycles, values, _ = recording.of(signal)
    return [(int(c), int(v)) for c, v in zip(cycles, values, strict=True) if c > 1_040_000]


@pytest.mark.parametrize("high", ["high", "low"])
@pytest.mark.parametrize("low", ["high", "low"])
def test_inputs_of_either_polarity_turn_the_same_fets_on(bench: RegisterBench, high: str, low: str) -> None:
    """Four kinds of gate driver, four firmwares: the same gates for 2 ms, 45 A at the end of it:
    V / 2 R (1 - exp(-t R / L)), 11.1 V, 0.19 ohm, L / R 0.33 ms, less what the wrong pair would carry."""
    recording = stepped(bench, high=high, low=low)
    (on, up), (off, down) = edges(recording, Signal.GATE_U)

    assert [up, down] == [1, 0]
    assert [value for _, value in edges(recording, Signal.GATE_V)] == [2, 0]
    assert edges(recording, Signal.GATE_W) == []
    assert off - on == pytest.approx(32_000, abs=20)
    assert np.max(recording.state_i_peak_a) > 20.0


@pytest.mark.parametrize(("kind", "written"), [("high", "low"), ("low", "high")])
def test_the_wrong_polarity_is_seen_at_once(bench: RegisterBench, kind: str, written: str) -> None:
    """A firmware that idles at the level that turns FETs on: shorts, found by the claim on both FETs."""
    text = STEP.format(
        **(
            {"idle_d": "0", "idle_b": "0", "low_on": "|= 2", "high_on": "|= 32"}
            if written == "high"
            else {"idle_d": "0x38", "idle_b": "0x0E", "low_on": "&= 0xFD", "high_on": "&= 0xDF"}
        ),
        high_off="|= 0",
        low_off="|= 0",
    )
    recording = bench.wired(high_active=kind, low_active=kind).run(HEAD + text, 0.075)

    assert {f"{v.family}.{v.claim}": v.status.name for v in judge(recording)}["gates.both_fets"] == "BROKEN"


def test_a_level_shifter_delays_on_and_off_by_its_own_times(bench: RegisterBench) -> None:
    """1 us and 250 ns are 16 and 4 cycles at 16 MHz; the command is recorded when the pin changes."""
    recording = stepped(bench, shifter_on_ns=1000.0, shifter_off_ns=250.0)
    command, gate = edges(recording, Signal.LEG_U), edges(recording, Signal.GATE_U)

    assert [g - c for (c, _), (g, _) in zip(command, gate, strict=True)] == [16, 4]
    assert [
        g - c
        for (c, _), (g, _) in zip(
            edges(recording, Signal.LEG_V), edges(recording, Signal.GATE_V), strict=True
        )
    ] == [16, 4]


@pytest.mark.parametrize(("off_ns", "verdict"), [(0.0, "HELD"), (1500.0, "BROKEN")])
def test_a_slow_turn_off_eats_the_firmware_s_dead_time(
    bench: RegisterBench, off_ns: float, verdict: str
) -> None:
    """The firmware waits 1 us from one FET of U to the other: enough for a shifter that is as fast both ways,
    a short through the leg where turning off takes half a microsecond longer than that."""
    text = HEAD + (
        "int main(void) { DDRD = _BV(PD5) | _BV(PD4); PORTD = _BV(PD5); _delay_us(50); PORTD = 0;"
        " _delay_us(1); PORTD = _BV(PD4); _delay_us(50); PORTD = 0; stop(); }"
    )
    recording = bench.wired(shifter_off_ns=off_ns).run(text, 0.075)
    found = {f"{v.family}.{v.claim}": v.status.name for v in judge(recording)}

    assert found["gates.both_fets"] == verdict


def test_marks_at_pins_say_what_they_are_declared_to_say_while_low_and_while_high(
    bench: RegisterBench,
) -> None:
    """A lamp at PB5 for armed, one at PC5 for running: each change of level is a mark."""
    recording = bench.wired(
        mark_register="", marks={"PB5": (Mark.OFF, Mark.ARMED), "PC5": (Mark.ARMED, Mark.RUN)}
    ).run(
        "int main(void)\n{\n    DDRB = _BV(PB5);\n    DDRC = _BV(PC5);\n    PORTB = _BV(PB5);\n"
        "    PORTC = _BV(PC5);\n    PORTC = 0;\n    PORTB = 0;\n    stop();\n}\n"
    )
    cycles, values, rows = recording.of(Signal.MARK)
    said = [int(value) for cycle, value in zip(cycles, values, strict=True) if cycle > 1_040_000]
    line = recording.lines(int(recording.edges["pc"][rows[cycles > 1_040_000][0]]))

    assert said == [Mark.ARMED, Mark.RUN, Mark.ARMED, Mark.OFF]
    assert line == "main.c:9"
    assert all(recording.of(leg)[0].max() <= 1_040_000 for leg in LEGS)


def test_an_input_with_its_pull_up_is_no_mark(bench: RegisterBench) -> None:
    """A lamp lights only at a pin that is driven."""
    recording = bench.wired(mark_register="", marks={"PB5": (Mark.OFF, Mark.RUN)}).run(
        "int main(void) { PORTB = _BV(PB5); (void)PINB; PORTB = 0; stop(); }"
    )

    assert edges(recording, Signal.MARK) == []
