"""What a source shows of its pins and timers: names before lists before masks, comments only as a hint."""

import pytest

from dryspin.registers.constants import Constants
from dryspin.registers.gate_names import HIGH, LOW, gate_of
from dryspin.registers.survey import surveyed


@pytest.mark.parametrize(
    ("name", "side", "leg"),
    [
        ("AH", HIGH, 0),
        ("PIN_BL", LOW, 1),
        ("U_HI", HIGH, 0),
        ("HIGH_C", HIGH, 2),
        ("pinLowW", LOW, 2),
        ("phaseAHigh", HIGH, 0),
        ("HIN1", HIGH, 0),
        ("LIN_3", LOW, 2),
        ("V_LO_ON", LOW, 1),
        ("hiPins", HIGH, -1),
        ("low_side", LOW, -1),
    ],
)
def test_names_of_gates_are_read_as_people_write_them(name: str, side: str, leg: int) -> None:
    """Leg before or behind the side, in capitals, camel case or with lines between."""
    gate = gate_of(name)
    assert gate is not None
    assert (gate.side, gate.leg) == (side, leg)


@pytest.mark.parametrize(
    "name", ["HIGH", "LOW", "BEMF_A", "HIGH_DUTY", "LOW_US", "PORTB", "led", "CHANNEL_A"]
)
def test_other_names_are_no_gates(name: str) -> None:
    """Levels of a pin, times, senses and ports have the same words in them."""
    assert gate_of(name) is None


@pytest.mark.parametrize(
    ("source", "expression", "value"),
    [
        ("#define A 3", "1 << A", 8),
        ("#define M(b) (1 << (b))\nenum { X, Y = 4, Z };", "M(X) | M(Z)", 33),
        ("const int a = 2, b = 0x10;", "a + b", 18),
        ("constexpr uint16_t TOP{200};", "TOP / 3UL", 66),
        ("#define F_CPU 16000000UL", "F_CPU / 20000 / 2", 400),
        ("", "(uint8_t)~_BV(PD3) & 0xFF", 0xF7),
        ("", "static_cast<uint8_t>(0b101)", 5),
        ("", "A2", 16),
        ("#define A B\n#define B A", "A", None),
        ("#define A(x) A(x)", "A(1)", None),
        ("".join(f"#define N{k} (N{k + 1} | N{k + 1} | N{k + 1})\n" for k in range(40)), "N0", None),
        ("", "width * 2", None),
        ("", "1 << 1 << 99", None),
        ("", "8 / 0", None),
        ("", "((((", None),
    ],
)
def test_constant_expressions_come_to_what_c_makes_of_them(source: str, expression: str, value: int) -> None:
    """And what is not constant, or never ends, to nothing."""
    assert Constants.of(source).value(expression) == value


TIMER_1 = "DDRB = _BV(PB1); TCCR1A = {a}; TCCR1B = {b}; {top}"


@pytest.mark.parametrize(
    ("text", "f_pwm_hz"),
    [
        # Data sheet of the ATmega48A/88A/168A: clock select and waveform generation mode bits of each timer.
        ("TCCR0A = _BV(COM0A1) | _BV(WGM00); TCCR0B = _BV(CS00);", 16e6 / 510),
        ("TCCR2A = _BV(COM2B1) | _BV(WGM21) | _BV(WGM20); TCCR2B = _BV(CS22);", 16e6 / 64 / 256),
        ("TCCR2A = _BV(COM2B1) | 3; TCCR2B = 0x0A; OCR2A = 199;", 16e6 / 8 / 200),
        ("TCCR1A = _BV(COM1A1) | _BV(WGM11); TCCR1B = _BV(WGM13) | _BV(CS10); ICR1 = 400;", 20e3),
        ("TCCR1A = _BV(COM1A1) | 2; TCCR1B = 0x19; ICR1 = F_CPU / 25000 - 1;", 25e3),
        ("TCCR1A = _BV(COM1A1) | 2; TCCR1B = 0x19; ICR1 = top;", 0.0),
        ("TCCR1A = _BV(COM1A1) | 1; TCCR1B = 0x01; TCCR1B = 0x03;", 0.0),
        ("ISR(TIMER2_COMPA_vect) { PORTD |= 1; } void f() { TCCR2A = 2; TCCR2B = 2; OCR2A = 159; }", 12.5e3),
        ("ISR(TIMER2_COMPA_vect) { ticks++; } void f() { TCCR2A = 2; TCCR2B = 2; OCR2A = 159; }", 0.0),
        ("int main() {}", 0.0),
    ],
)
def test_carrier_follows_from_clock_mode_and_top_or_stays_open(text: str, f_pwm_hz: float) -> None:
    """A top that is computed, two clocks, a timer that switches nothing: nobody can tell."""
    seen = surveyed(f"#define F_CPU 16000000\n{text}", sketch=False)

    assert seen.f_pwm_hz == pytest.approx(f_pwm_hz)


NAMES = """
enum {{ AH = PD3, BH = PD4, CH = PD5 }}; enum {{ AL = PB0, BL = PB1, CL = PB2 }};
void f(void) {{ DDRD = _BV(AH) | _BV(BH) | _BV(CH); DDRB = _BV(AL) | _BV(BL) | _BV(CL); }} {comment}
"""


def test_a_comment_that_contradicts_the_code_is_told_and_not_believed() -> None:
    """Boards change and comments stay."""
    right = surveyed(NAMES.format(comment="// AH = PD3, BH = PD4, CH = PD5"), sketch=False)
    old = surveyed(NAMES.format(comment="// AH = PD5, BH = PD4, CH = PD3"), sketch=False)

    assert right.gates.high.pins == old.gates.high.pins == ("PD3", "PD4", "PD5")
    assert right.notes == ()
    assert old.notes == ("a comment says high = PD5, PD4, PD3, the code PD3, PD4, PD5: one is old",)


def test_a_comment_alone_is_a_hint_and_needs_pins_that_the_source_sets() -> None:
    """Three pins of a drawing that the code never makes outputs are no gates."""
    comment = "/* phase A high: PD2, phase B high: PD3, phase C high: PD4 */ int main() {{ DDRD = {}; }}"
    hinted = surveyed(comment.format("0x1C"), sketch=False).gates.high

    assert hinted.pins == ("PD2", "PD3", "PD4")
    assert not hinted.sure
    assert surveyed(comment.format("0x18"), sketch=False).gates.high.pins == ()


def test_a_table_of_steps_pairs_the_pins_of_a_leg() -> None:
    """Bits 0, 1, 2 with 3, 4, 5: a leg's two are never on together. Which are high it does not show."""
    table = (
        "const char t[6] = {0x11, 0x21, 0x22, 0x0A, 0x0C, 0x14}; int main() { DDRD = 0x3F; PORTD = t[0]; }"
    )
    seen = surveyed(table, sketch=False)

    assert seen.gates.high.pins == seen.gates.low.pins == ()
    assert seen.notes == (
        "the table of steps pairs PD0, PD1, PD2 with PD3, PD4, PD5, leg by leg; which three are high it does "
        "not show",
    )


SPREAD = """
#define AH_PORT PORTD
#define AH_BIT 3
#define BH_PORT PORTB
#define BH_BIT 1
#define CH_PORT PORTB
#define CH_BIT 2
int main() { AH_PORT |= 1 << AH_BIT; BH_PORT |= 1 << BH_BIT; CH_PORT |= 1 << CH_BIT; }
"""
MASKS = """
#define GATES PORTD
#define U_HIGH 0x02
#define V_HIGH 0x08
#define W_HIGH 0x20
const char t[2] = { U_HIGH | 1, V_HIGH | W_HIGH };
int main() { DDRD = 0x3F; GATES = (GATES & 0xC0) | t[0]; }
"""
NUMBERS = """
int ah = 9; int bh = 10; int ch = 11; int other = 1;
void setup() { pinMode(ah, OUTPUT); pinMode(bh, OUTPUT); pinMode(ch, OUTPUT); other = 2; }
"""
BY_ADDRESS = """
const struct pin high_side[3] = { {&PORTD, 3}, {&PORTB, 1}, {&PORTB, 2} };
int main() { DDRD = 8; DDRB = 6; *high_side[0].port |= 1 << high_side[0].bit; }
"""
BY_FUNCTION = "void ah(char on) { if (on) PORTD |= 0x08; } int main() { DDRD = 8; DDRB = 6; ah(1); }"


@pytest.mark.parametrize(
    ("text", "sketch", "high"),
    [
        (SPREAD, False, ("PD3", "PB1", "PB2")),
        (MASKS, False, ("PD1", "PD3", "PD5")),
        (NUMBERS, True, ("PB1", "PB2", "PB3")),
        (BY_ADDRESS, False, ()),
        (BY_FUNCTION, False, ()),
    ],
    ids=["a port and a bit each", "masks in a table", "numbers of a board", "by address", "by a function"],
)
def test_pins_are_followed_as_far_as_they_are_plain_and_else_left_open(
    text: str, sketch: bool, high: tuple[str, ...]
) -> None:
    """What is not followed is named as a candidate, never as a gate."""
    seen = surveyed(text, sketch)

    assert seen.gates.high.pins == high
    assert {"PD3", "PB1", "PB2"} & set(seen.outputs)
