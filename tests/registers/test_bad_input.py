"""What cannot be moved to the rig as it stands: exit 2, with its place, and nothing written."""

from pathlib import Path

import pytest

from dryspin.cli.command import exit_code

from ..search.subject import BOW_THRUSTER

PINS = """
[pins]
high = ["PD5", "PB3", "PD3"]
low = ["PD4", "PB1", "PB2"]
phases = ["PC0", "PC1", "PC2"]
throttle = "PB0"
"""
MAIN = "int main(void) { for (;;) { } }\n"
HEAD = "#include <avr/io.h>\n#include <avr/interrupt.h>\n"
SKETCH = "void setup() { }\nvoid loop() { }\n"


def said(
    folder: Path, capsys: pytest.CaptureFixture[str], sources: dict[str, str | bytes], pins: str = PINS
) -> str:
    """What a check says to these sources; it must end with 2, say one thing, and leave no file."""
    names = ", ".join(f'"{name}"' for name in sources if not name.endswith(".h"))
    sheet = f'[firmware]\nbase = "{BOW_THRUSTER}"\nsources = [{names}]\n{pins}'
    given: dict[str, str | bytes] = {
        **sources,
        "drive.toml": sheet,
        "claims.toml": 'declared = ["gates.both_fets"]\n',
    }
    for name, text in given.items():
        (folder / name).write_bytes(text if isinstance(text, bytes) else text.encode())
    kept = folder.parent / f"{folder.name}-found"
    code = exit_code(["check", str(folder), "--scenarios", "1", "--workers", "1", "--save", str(kept)])
    out, err = capsys.readouterr()

    assert code == 2, out
    assert "Traceback" not in err
    assert sorted(path.name for path in folder.iterdir()) == sorted(given)
    return err


BUILD = {
    "header of another part": ({"a.c": "#include <avr/iotn85.h>\n" + MAIN}, "a.c:1", "avr/iotn85.h"),
    "header of nobody": ({"a.c": HEAD + "#include <board.h>\n" + MAIN}, "a.c:3", "board.h"),
    "inline assembly": (
        {"a.c": HEAD + MAIN + 'void f(void) { asm volatile("lds r24, 5"); }\n'},
        "a.c:4",
        "lds r24, 5",
    ),
    "assembly in C++": ({"a.ino": SKETCH + 'void f() { asm("push r0"); }\n'}, "a.ino:3", "push r0"),
    "unknown register": (
        {"a.c": HEAD + "void f(void) { PORTE = 1; }\n" + MAIN},
        "a.c:3",
        "PORTE is no register",
    ),
    "unknown bit": ({"a.c": HEAD + "void f(void) { ACSR = _BV(ACXX); }\n" + MAIN}, "a.c:3", "ACXX"),
    "serial peripheral interface": (
        {"a.c": HEAD + "void f(void) { SPCR = 1; }\n" + MAIN},
        "a.c:3",
        "the serial peripheral",
    ),
    "two-wire interface": ({"a.c": HEAD + "void f(void) { TWCR = 1; }\n" + MAIN}, "a.c:3", "two-wire"),
    "program memory written": (
        {"a.c": HEAD + "void f(void) { SPMCSR = 1; }\n" + MAIN},
        "a.c:3",
        "program memory",
    ),
    "handler that calls itself": (
        {"a.c": HEAD + "ISR(ADC_vect) { ADC_vect(); }\n" + MAIN},
        "a.c",
        "calls the handler of vector 21",
    ),
    "handler called from the main line": (
        {"a.c": HEAD + "ISR(ADC_vect) { PORTB = 1; }\nint main(void) { ADC_vect(); for (;;) { } }\n"},
        "a.c",
        "calls the handler of vector 21",
    ),
    "no loop()": ({"a.ino": "void setup() { }\n"}, "a.ino", "needs a function loop(); this one has setup"),
    "no setup()": ({"a.ino": "void loop() { }\n"}, "a.ino", "needs a function setup(); this one has loop"),
    "nothing in the sketch": ({"a.ino": ""}, "a.ino", "no function at all"),
    "two sketches": ({"a.ino": SKETCH, "b.ino": SKETCH}, "", "a firmware has one sketch"),
    "no main()": ({"a.c": HEAD + "int x;\n"}, "", "no main()"),
    "two main()": ({"a.c": MAIN, "b.c": MAIN}, "", "main is defined in a.c and in b.c"),
    "two handlers in one file": (
        {"a.c": HEAD + "ISR(ADC_vect) { }\nISR(ADC_vect) { }\n" + MAIN},
        "a.c:4",
        "redefinition",
    ),
    "two handlers in two files": (
        {"a.c": HEAD + "ISR(ADC_vect) { }\n" + MAIN, "b.c": HEAD + "ISR(ADC_vect) { }\n"},
        "b.c",
        "vector 21 has a handler already",
    ),
    "handler of no vector": (
        {"a.c": HEAD + "ISR(TIMER3_OVF_vect) { }\n" + MAIN},
        "a.c",
        "is no vector of the part",
    ),
    "naked handler": ({"a.c": HEAD + "ISR(ADC_vect, ISR_NAKED) { }\n" + MAIN}, "a.c:3", "ISR_NAKED"),
    "handler that lets others in": (
        {"a.c": HEAD + "ISR(ADC_vect, ISR_NOBLOCK) { }\n" + MAIN},
        "a.c:3",
        "ISR_NOBLOCK",
    ),
    "handler by another name": (
        {"a.c": HEAD + "ISR(ADC_vect) { }\nISR_ALIAS(INT0_vect, ADC_vect);\n" + MAIN},
        "a.c:4",
        "ISR_ALIAS",
    ),
    "a store that is too small": (
        {"a.c": HEAD + "#include <avr/eeprom.h>\nuint8_t EEMEM big[600];\n" + MAIN},
        "",
        "600 bytes; the part's store has 512",
    ),
    "bytes that are no text": ({"a.c": b"\xff\xfe\x00int main"}, "a.c", ""),
    "a function of nobody": (
        {"a.c": HEAD + "void g(void);\nint main(void) { g(); for (;;) { } }\n"},
        "a.c",
        "g()",
    ),
}
"""Sources, the place, and what is said of it."""


@pytest.mark.parametrize("name", BUILD)
def test_sources_that_cannot_run_are_refused_with_their_place(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    """Before anything is run."""
    sources, place, words = BUILD[name]
    err = said(tmp_path, capsys, sources)

    assert place in err
    assert words in err


WIRING = {
    "one pin for two FETs": (PINS.replace('"PB3"', '"PD5"'), "PD5 is high V and high U at once"),
    "one pin for FET and phase": (PINS.replace('"PB2"', '"PC2"'), "PC2 is phases W and low W at once"),
    "throttle on a gate": (PINS.replace('"PB0"', '"PB1"'), "PB1 is throttle and low V at once"),
    "a mark on a gate": (PINS + 'marks = { PD3 = ["off", "run"] }\n', "PD3 is marks and high W at once"),
    "steady and throttle": (PINS + "steady = { PB0 = 1 }\n", "PB0 is steady and throttle at once"),
    "the neutral's pin for a FET": (PINS.replace('"PD4"', '"PD6"'), "PD6 is neutral and low U at once"),
    "two FETs only": (PINS.replace('["PD5", "PB3", "PD3"]', '["PD5", "PB3"]'), "no list of three pins"),
    "a key twice": (PINS + 'throttle = "PB5"\n', "not TOML: Cannot overwrite a value"),
    "no pins at all": ("[pins]\n", "high"),
}
"""Tables, and what is said of them."""


@pytest.mark.parametrize("name", WIRING)
def test_pins_that_cannot_be_wired_so_are_refused_with_their_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    """File, key and remedy; a pin leads to one thing."""
    pins, words = WIRING[name]
    err = said(tmp_path, capsys, {"a.c": MAIN}, pins)

    assert "drive.toml" in err
    assert words in err


RUN = {
    "handler lets itself in": (
        "ISR(TIMER0_OVF_vect) { sei(); for (uint16_t k = 0; k < 2000; k++) (void)TCNT0; }\n"
        "int main(void) { TIMSK0 = _BV(TOIE0); TCCR0B = 1; sei(); for (;;) { (void)TCNT0; } }\n",
        "entered again and again",
    ),
    "no handler": (
        "int main(void) { TIMSK0 = _BV(TOIE0); TCCR0B = 1; sei(); for (;;) (void)TCNT0; }\n",
        "has no handler",
    ),
    "deep sleep": (
        "#include <avr/sleep.h>\nint main(void) { SMCR = _BV(SM1) | _BV(SE); sleep_cpu(); }\n",
        "sleep mode SM = 2",
    ),
    "address of nothing": (
        "int main(void) { _SFR_MEM8(0xF0) = 1; for (;;) { } }\n",
        "writes data address 0xf0",
    ),
}
"""What ends a run, as a text the check prints."""


@pytest.mark.parametrize("name", RUN)
def test_what_shows_only_in_a_run_ends_the_check_with_its_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    """The scenario is kept in the message; no verdict is given on half a run."""
    text, words = RUN[name]
    err = said(tmp_path, capsys, {"a.c": HEAD + text})

    assert words in err
    assert "a.c:" in err
