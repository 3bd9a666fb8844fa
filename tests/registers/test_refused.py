"""What the rig does not know is refused with file and line, never passed over."""

from dataclasses import replace
from pathlib import Path

import pytest

from dryspin.build import build_image
from dryspin.drive import load_drive
from dryspin.errors import BuildError, DriveError, RigError

from ..drive.sheet import SHEET
from .conftest import RegisterBench

MAIN = "int main(void) { for (;;) { } }\n"


def refused(bench: RegisterBench, text: str, name: str = "main.c", **more: str) -> str:
    """What the build says."""
    with pytest.raises(BuildError) as error:
        bench.image(text, name, **more)
    return str(error.value)


def stopped(bench: RegisterBench, text: str) -> str:
    """What the run says."""
    with pytest.raises(RigError) as error:
        bench.run(text)
    return str(error.value)


@pytest.mark.parametrize(
    ("text", "place", "words"),
    [
        ("#include <avr/iox32e5.h>\n" + MAIN, "main.c:5:", "no avr/iox32e5.h: of another part"),
        ("int main(void) { PORTF = 1; for (;;) { } }", "main.c:5:", "PORTF is no register or bit"),
        ("int main(void) { SPDR = 1; for (;;) { } }", "main.c:5:", "the serial peripheral interface"),
        ('int main(void)\n{\nasm volatile("ldi r16, 1");\nfor (;;) { } }', "main.c:7:", 'y "ldi r16, 1"'),
        ("#define F_CPU 1\n#include <util/delay.h>\nint main(int n, char **v) { (void)v; _delay_us(n); }",
         "main.c:7:", "length of a busy wait must be a constant"),
        ("ISR(TIMER9_vect) { }\n" + MAIN, "main.c:", "TIMER9_vect is no vector"),
        ("ISR(ADC_vect) { PORTB = 1; }\nint main(void) { ADC_vect(); for (;;); }", "main.c:", "of vector 21"),
        ("int main(void) { helper(); for (;;) { } }\nvoid helper(void);", "main.c", "helper"),
        ("static int x;\n", "firmware:", "no main()"),
    ],
    ids=["header", "register", "missing", "assembly", "delay", "vector", "recursion", "function", "main"],
)  # fmt: skip
def test_sources_for_something_else_are_refused_where_they_stand(
    bench: RegisterBench, text: str, place: str, words: str
) -> None:
    """Exit 2 of every command: the message is that of a BuildError."""
    said = refused(bench, text)

    assert place in said
    assert words in said


def test_two_handlers_of_one_vector_are_refused(bench: RegisterBench) -> None:
    """In two files, so that the compiler cannot see it."""
    said = refused(
        bench, "ISR(ADC_vect) { }\n" + MAIN, other__c="#include <avr/interrupt.h>\nISR(ADC_vect) { }\n"
    )

    assert "other.c: vector 21 has a handler already, in" in said


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("_SFR_MEM8(0xD0) = 1;", "main.c:5 in main()"),
        ("_SFR_MEM8(0xD0) = 1;", "writes data address 0xd0, where the rig models no register"),
        ("TCCR0B = _BV(CS02) | _BV(CS01);", "timer 0 counts edges at a pin"),
        ("TCCR0A = _BV(WGM00) | _BV(COM0A0); TCCR0B = 1;", "COM = 1 with PWM"),
        ("TCCR1A = _BV(WGM10); TCCR1B = _BV(WGM13) | _BV(WGM12) | 1; TCCR1A = _BV(WGM10);", "is reserved"),
        ("ACSR = _BV(ACBG);", "bandgap at the comparator"),
        ("ADCSRB = _BV(ACME); ADMUX = 5; (void)ACSR;", "[pins] names neither as a phase nor as steady"),
        ("WDTCSR = _BV(WDIE);", "interrupt mode (WDIE)"),
        ("SMCR = _BV(SM1) | _BV(SE); dryspin_sleep();", "sleep mode SM = 2"),
        ("TIMSK0 = _BV(TOIE0); TCCR0B = 1; sei(); for (;;) { (void)TCNT0; }", "17 is on and has no handler"),
        ("ADMUX = 0; ADCSRA = _BV(ADEN) | _BV(ADSC);"
         " while (ADCSRA & _BV(ADSC)) { }", "reference is AREF"),
    ],
)  # fmt: skip
def test_registers_and_modes_that_are_not_modelled_end_the_run_with_their_line(
    bench: RegisterBench, text: str, words: str
) -> None:
    """A pass over a mode that the rig quietly takes for another would be worth nothing."""
    said = stopped(bench, f"int main(void) {{ {text} for (;;) {{ }} }}")

    assert words in said
    assert "main.c:" in said


def test_a_handler_that_lets_itself_in_again_is_named(bench: RegisterBench) -> None:
    """On the part the stack grows into the variables; here it is said."""
    said = stopped(
        bench,
        "ISR(TIMER0_OVF_vect) { sei(); for (uint16_t k = 0; k < 2000; k++) (void)TCNT0; }\n"
        "int main(void) { TIMSK0 = _BV(TOIE0); TCCR0B = 1; sei(); for (;;) { (void)TCNT0; } }",
    )

    assert "handler of vector 17 is entered again and again" in said


def test_a_sketch_without_its_loop_is_refused(bench: RegisterBench) -> None:
    """Both functions must be there."""
    bench = replace(bench)
    with pytest.raises(BuildError, match=r"needs a function loop\(\); this one has setup"):
        bench.image("void setup() { }\n", "x.ino", head="")


def sheet(tmp_path: Path, **pins: object) -> str:
    """What the loader says to a drive with these pins besides what it needs."""
    import tomli_w

    given = {
        "high": ["PD5", "PB3", "PD3"],
        "low": ["PD4", "PB1", "PB2"],
        "phases": ["PC0", "PC1", "PC2"],
        **pins,
    }
    path = tmp_path / "drive.toml"
    path.write_text(tomli_w.dumps({**SHEET, "pins": given}))
    with pytest.raises(DriveError) as error:
        load_drive(path)
    return str(error.value)


@pytest.mark.parametrize(
    ("pins", "words"),
    [
        ({"throttle": "PD5"}, "PD5 is throttle and high U at once"),
        ({"high": ["PD5", "PD5", "PD3"]}, "PD5 is high V and high U at once"),
        ({"low": ["PE0", "PB1", "PB2"]}, '"PE0", which is not a pin of the part'),
        ({"phases": ["PD0", "PC1", "PC2"]}, '"PD0", which is not a pin that can do this'),
        ({"neutral": "PC4"}, "which is not a pin that can do this: PD6"),
        ({"marks": {"PB5": ["off", "flying"]}}, '"flying", which is not known'),
        ({"steady": {"PD7": 2}}, "neither 0 nor 1"),
        ({"shifter_on_us": 1}, "shifter_on_ns"),
    ],
)
def test_pins_that_cannot_be_are_refused(tmp_path: Path, pins: dict[str, object], words: str) -> None:
    """A pin leads to one thing, and only some pins can sense."""
    assert words in sheet(tmp_path, **pins)


def test_a_register_source_without_pins_is_told_so(bench: RegisterBench) -> None:
    """Without [pins] the sources are those of the seam."""
    bench.image(MAIN)
    drive = replace(bench.drive, pins=None, firmware=replace(bench.drive.firmware, sources=("main.c",)))
    with pytest.raises(BuildError, match=r"with a \[pins\] table in drive\.toml"):
        build_image(drive, bench.folder)
