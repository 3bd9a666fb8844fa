"""Firmware written for registers with the part's integers: what leaves it must be what the host's give."""

import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from dryspin.drive import load_drive
from dryspin.faults import Code, Inspector
from dryspin.faults.fault import INT_WIDTH

from ..small_firmware import scenario
from .conftest import RegisterBench

EXAMPLES = Path(__file__).parents[2] / "firmware_under_test"

pytestmark = pytest.mark.skipif(
    not shutil.which("clang"), reason="its front end has the part's widths; CI has it"
)


LANGUAGES = ["main.c", pytest.param("main.cpp", marks=pytest.mark.slow)]


def judged(bench: RegisterBench, text: str, name: str = "main.c") -> Code:
    """What a tenth of a second of a firmware shows; plain code takes time."""
    bench.image(text, name)
    drive = replace(
        bench.drive,
        firmware=replace(bench.drive.firmware, sources=(name,)),
        controller=replace(bench.drive.controller, block_cycles=6),
    )
    inspector = Inspector(drive, bench.folder)
    return inspector.judge(inspector.evidence([scenario(0.1)]))


def line(bench: RegisterBench, marker: str) -> str:
    """ "main.c:7" of the line that holds it."""
    ((name, text),) = bench.sources.items()
    return f"{name}:{1 + next(k for k, row in enumerate(text.splitlines()) if marker in row)}"


WIDTH = """\
    static uint16_t scaled(uint8_t a, uint8_t b)
    {
        return (uint16_t)(a * b); /* product */
    }
    static volatile uint8_t bit = 15, k = 200, far = 16;
    static volatile uint16_t then = 60000U, now = 200U;
    int main(void)
    {
        say(1);
        %s
        say(2);
        stop();
    }
"""


@pytest.mark.parametrize("name", LANGUAGES)
@pytest.mark.parametrize(
    ("statement", "marker", "words"),
    [
        ("say(scaled(k, k));", "product", "200 * 200"),
        ("say((uint16_t)(1 << far)); /* shift */", "/* shift */", "shift"),
        ("if (now - then < 1000) say(7); /* compared */", "/* compared */", "another way is taken"),
        ("say((k << 8) / 256); /* high */", "/* high */", "int of 16 bits"),
    ],
)
def test_what_means_something_else_on_the_part_is_found_at_its_line(
    bench: RegisterBench, name: str, statement: str, marker: str, words: str
) -> None:
    """C11 6.5.7, 6.5p5 and 6.3.1.1: int holds 16 bits on the part; a difference of two uint16_t is unsigned
    there, and an int here."""
    code = judged(bench, WIDTH % statement, name)
    (fault,) = [fault for fault in code.faults if fault.kind == INT_WIDTH]

    assert code.left_out == ""
    assert fault.place.line == line(bench, marker)
    assert words in fault.text


WRITES = """\
    #include <avr/eeprom.h>
    struct entry { uint8_t kind; uint16_t value; };
    static volatile uint16_t counts = 60000, scale = 6000;
    int main(void)
    {
        switch (eeprom_read_byte((const uint8_t *)0)) {
        case 1: OCR1A = (counts + scale) >> 9; break; /* OCR1A becomes 0 */
        case 2: PORTC = counts * 2U > 65535U; break; /* PORTC becomes 0 */
        case 3: UCSR0B = _BV(TXEN0); UDR0 = counts + scale > 65535U; break; /* UDR0 becomes 0 */
        case 4: eeprom_write_byte((uint8_t *)3, sizeof(struct entry)); break; /* EEDR becomes 3 */
        default: OCR1A = (uint16_t)(((uint32_t)counts + scale) >> 9); break;
        }
        stop();
    }
"""


def test_every_write_to_a_register_is_compared(bench: RegisterBench) -> None:
    """Compare unit, port, serial output and store, also where nothing hangs on the pin.

    66000 is 464 in 16 bits; structs have no gaps on the part. In the last case casts make it the same.
    """
    bench.image(WRITES)
    drive = replace(bench.drive, controller=replace(bench.drive.controller, block_cycles=6))
    inspector = Inspector(drive, bench.folder)
    assert inspector.left_out == ""
    for case, words in enumerate(
        ("OCR1A becomes 0", "PORTC becomes 0", "UDR0 becomes 0", "EEDR becomes 3"), 1
    ):
        code = inspector.judge(inspector.evidence([scenario(0.08, store=f"{case:02x}")]))
        (fault,) = [fault for fault in code.faults if fault.kind == INT_WIDTH]
        assert words in fault.text
        assert fault.place.line == line(bench, f"/* {words} */")
    assert inspector.judge(inspector.evidence([scenario(0.08, store="05")])).faults == ()


@pytest.mark.slow
def test_in_a_sketch_the_line_is_that_of_its_call(bench: RegisterBench) -> None:
    """Not that of the function behind digitalWrite(), which comes with the rig."""
    text = (
        "volatile unsigned counts = 60000, scale = 6000;\n"
        "void setup() {\n  pinMode(13, OUTPUT);\n  digitalWrite(13, counts + scale > 65000U);\n}\n"
        "void loop() { }\n"
    )
    bench.image(text, "tug.ino", head="")
    drive = replace(bench.drive, firmware=replace(bench.drive.firmware, sources=("tug.ino",)))
    inspector = Inspector(replace(drive, controller=replace(drive.controller, block_cycles=6)), bench.folder)
    code = inspector.judge(inspector.evidence([scenario(0.1)]))

    assert [fault.place.line for fault in code.faults if fault.kind == INT_WIDTH] == ["tug.ino:4"]


@pytest.mark.parametrize(
    ("copied", "kind"),
    [
        ("const uint8_t *both[2] = {one, two}; say(both[k][k]);", "[2 x i8*]"),
        ("struct place a = {one, 2}, b = a; say(b.at[k]);", "struct.place"),
    ],
)
def test_copied_addresses_are_refused(bench: RegisterBench, copied: str, kind: str) -> None:
    """An address has 2 bytes on the part and 8 here: half of them would be copied, and a wrong value told."""
    text = f"""
        struct place {{ const uint8_t *at; uint8_t n; }};
        static const uint8_t one[2] = {{1, 2}}, two[2] = {{3, 4}};
        static volatile uint8_t k = 1;
        int main(void) {{ {copied} stop(); }}
    """
    bench.image(text)
    inspector = Inspector(bench.drive, bench.folder)

    assert f"main.c: copies or fills a {kind}, which holds an address" in inspector.left_out


WORKS = """\
    #include <util/atomic.h>
    #include <util/delay.h>
    static volatile uint16_t wraps, turned;
    static volatile uint8_t seen;
    ISR(TIMER0_OVF_vect)
    {
        wraps++;
        if ((uint8_t)(wraps & 3U) == 0U)
            seen = 1;
    }
    static uint16_t mean(uint16_t a, uint16_t b)
    {
        return (uint16_t)(((uint32_t)a + b) / 2U);
    }
    int main(void)
    {
        TCCR0B = _BV(CS00);
        TIMSK0 = _BV(TOIE0);
        DDRB = _BV(PB1);
        sei();
        for (uint8_t k = 0; k < 20; k++) {
            while (!seen) { }
            seen = 0;
            for (volatile uint8_t n = 0; n < 10; n++) { }
            _delay_us(40);
            PORTB ^= _BV(PB1);
            PORTB &= (uint8_t)~_BV(PB1);
            ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { turned = mean(wraps, 50000U); }
            say(turned);
            say(TCNT1);
        }
        stop();
    }
"""


@pytest.mark.parametrize("name", LANGUAGES)
def test_sound_code_takes_the_same_time_in_both(bench: RegisterBench, name: str) -> None:
    """Waits on a handler's flag, counted loops, busy waits, ports and timers: not one cycle between them."""
    code = judged(bench, WORKS, name)

    assert code.left_out == ""
    assert [fault for fault in code.faults if fault.kind == INT_WIDTH] == []


LIBRARY = """\
    static uint8_t memory[4];
    static volatile uint8_t three = 3;
    int main(void)
    {
        __builtin_memset(memory, 7, three);
        say((uint16_t)%s);
        stop();
    }
"""


def test_what_cannot_be_run_so_is_said(bench: RegisterBench) -> None:
    """The host's C library has the host's widths; the other checks are made all the same."""
    code = judged(bench, LIBRARY % "__builtin_memcmp(memory, memory + 1, three)")

    assert code.left_out == (
        "the part's 16-bit int: main.c: calls memcmp(), which the host's C library defines for its own "
        "widths, so this cannot be run with the part's integers. Write it yourself to have it looked at"
    )
    assert code.runs == 1
    assert judged(bench, LIBRARY % "__builtin_strlen((char *)memory)") == replace(code, left_out="")


@pytest.mark.slow
@pytest.mark.parametrize("name", ["polling_sketch", "two_way_interrupts"])
def test_the_examples_do_the_same_with_the_part_s_integers(name: str) -> None:
    """Armed, turned, turned faster, stopped: two seconds of a sketch and of a C++ firmware with handlers."""
    folder = EXAMPLES / name
    drive = load_drive(folder)
    inspector = Inspector(drive, folder)
    steps = ((0.0, 1500.0), (0.8, 1700.0), (1.4, 1900.0), (1.8, 1500.0))
    code = inspector.judge(inspector.evidence([scenario(2.0, throttle_us=steps)]))

    assert code.left_out == ""
    assert [fault for fault in code.faults if fault.kind == INT_WIDTH] == []
