"""The target port's instructions, as the compiler lays them: the data sheet's sequences are kept.

Clauses as in the port: 8271H and DS40002011A are data sheets of the ATmega48/88/168 family.
"""

import re

import pytest

from firmware_under_test.targets.image import Image
from firmware_under_test.targets.toolchain import PORT, SEAM

from .conftest import Compile

SREG = "0x3f"


def code(image: Image, name: str) -> list[str]:
    """Instructions of a function in order of address, "mnemonic operands"."""
    body = sorted(image.body(image.function(name)))
    return [f"{i.name} {', '.join(i.operands)}" for i in (image.instructions[at] for at in body)]


def port_code(compiled: Compile, statement: str, result: str = "void") -> list[str]:
    """What one use of the port becomes, in a function of its own."""
    image = compiled(
        "#include <drive_port.h>\n"
        f"{result} f(uint8_t x, uint16_t y);\n"
        f"{result} f(uint8_t x, uint16_t y) {{ (void)x; (void)y; {statement} }}\n"
        "int main(void) { f(SREG, 7U); for (;;) { } }\n"
    )
    return code(image, "f")


def index(lines: list[str], pattern: str) -> int:
    """Where the only line that matches stands."""
    found = [k for k, line in enumerate(lines) if re.fullmatch(pattern, line, re.IGNORECASE)]
    assert len(found) == 1, (pattern, lines)
    return found[0]


def locked(lines: list[str]) -> tuple[int, int]:
    """Where interrupts go off, and where the status register comes back."""
    saved = index(lines, rf"in r\d+, {SREG}")
    off = index(lines, "cli ?")
    assert saved < off
    return off, index(lines, rf"out {SREG}, r\d+")


@pytest.mark.needs_avr
def test_the_port_has_every_function_of_the_seam() -> None:
    """One that is missing would only be missed by the firmware that calls it."""
    wanted = re.findall(r"^(\w+ port_\w+\(.*\));", (SEAM / "drive_port.h").read_text(encoding="utf-8"), re.M)
    bodies = "".join(file.read_text(encoding="utf-8") for file in sorted(PORT.glob("target_*.h")))

    assert len(wanted) > 30
    for declaration in wanted:
        assert f"static inline {declaration}\n{{" in bodies, declaration


@pytest.mark.needs_avr
def test_the_store_is_unlocked_by_two_neighbours_with_interrupts_off(compiled: Compile) -> None:
    """8271H p. 23: EEPE within four clock cycles after EEMPE. sbi takes two: the second comes in time.
    EECR is I/O 0x1F, EEMPE bit 2, EEPE bit 1 (avr-libc's iom168.h)."""
    lines = port_code(compiled, "port_store_write(y, x);")
    off, on = locked(lines)
    unlock = index(lines, "sbi 0x1f, 2")

    assert lines[unlock + 1] == "sbi 0x1f, 1"
    assert off < unlock
    assert unlock + 1 < on


@pytest.mark.needs_avr
def test_a_store_write_under_way_is_looked_for_first(compiled: Compile) -> None:
    """8271E p. 19: neither address nor data may change while EEPE is set."""
    lines = port_code(compiled, "port_store_write(y, x);")

    assert index(lines, "sbi[cs] 0x1f, 1") < index(lines, r"out 0x21, r\d+")


@pytest.mark.needs_avr
@pytest.mark.parametrize(("call", "low"), [("port_ticks", 0x84), ("port_throttle_ticks", 0x86)])
def test_sixteen_bits_are_read_low_byte_first_under_lock(compiled: Compile, call: str, low: int) -> None:
    """DS40002011A p. 164: the low byte's read keeps the high byte in TEMP, which all share."""
    lines = port_code(compiled, f"return {call}();", "uint16_t")
    off, on = locked(lines)
    first, second = (index(lines, rf"lds r\d+, {address:#06x}") for address in (low, low + 1))

    assert off < first < second < on


@pytest.mark.needs_avr
@pytest.mark.parametrize(("call", "low"), [("port_compare_a", 0x88), ("port_compare_b", 0x8A)])
def test_sixteen_bits_are_written_high_byte_first_under_lock(compiled: Compile, call: str, low: int) -> None:
    """DS40002011A p. 164: the low byte's write takes the high byte from TEMP."""
    lines = port_code(compiled, f"{call}(y);")
    off, on = locked(lines)
    first, second = (index(lines, rf"sts {address:#06x}, r\d+") for address in (low + 1, low))

    assert off < first < second < on


@pytest.mark.needs_avr
def test_sleep_follows_at_once_on_turning_interrupts_on(compiled: Compile) -> None:
    """The one instruction after sei runs before anything pending: a wake-up cannot slip in between."""
    lines = port_code(compiled, "port_idle();")

    assert lines[index(lines, "sei ?") + 1].strip() == "sleep"


@pytest.mark.needs_avr
@pytest.mark.parametrize(("call", "bit"), [("port_compare_a_clear", 1), ("port_compare_b_clear", 2)])
def test_clearing_one_flag_of_the_timer_leaves_the_others(compiled: Compile, call: str, bit: int) -> None:
    """Flags are cleared by writing one: writing back what was read would clear all. TIFR1 is I/O 0x16."""
    lines = port_code(compiled, f"{call}();")
    write = index(lines, r"out 0x16, r\d+|sbi 0x16, \d")

    assert lines[write] == f"sbi 0x16, {bit}" or re.fullmatch(rf"ldi r\d+, 0x0{1 << bit}", lines[write - 1])
    assert not any(line.startswith("in ") for line in lines)


@pytest.mark.needs_avr
def test_the_comparators_interrupt_is_off_while_its_edge_changes(compiled: Compile) -> None:
    """8159E p. 181: else the change can call the handler. ACSR is I/O 0x30; ACIE, bit 3, comes back last,
    and ACI, bit 4, is never written as one, which would clear a flag that the seam says survives."""
    lines = port_code(compiled, "(void)x; port_sense_edge(PORT_RISES_ABOVE);")
    writes = [k for k, line in enumerate(lines) if line.startswith("out 0x30")]

    assert len(writes) == 2
    assert index(lines, r"ldi r\d+, 0x02") < writes[0]
    assert index(lines, r"andi r\d+, 0x08") < writes[1]
    assert index(lines, r"ori r\d+, 0x02") < writes[1]


@pytest.mark.needs_avr
def test_a_change_of_the_comparators_interrupt_does_not_clear_its_flag(compiled: Compile) -> None:
    """The flag is in the register that is read and written back: its bit is masked out, 0xE7 with ACIE's."""
    lines = port_code(compiled, "port_sense_interrupt(0U);")

    assert index(lines, r"in r\d+, 0x30") < index(lines, r"andi r\d+, 0xE7") < index(lines, r"out 0x30, r\d+")


@pytest.mark.needs_avr
def test_a_leg_in_reach_of_one_instruction_a_pin_needs_no_lock_for_it(compiled: Compile) -> None:
    """sbi and cbi change one bit and nothing else; PORTD is I/O 0x0B, PD4 the low FET of U."""
    lines = port_code(compiled, "port_leg(PORT_U, PORT_LOW);")

    assert index(lines, "cbi 0x0b, 5") < index(lines, "sbi 0x0b, 4")


@pytest.mark.needs_avr
@pytest.mark.parametrize("state", ["PORT_HIGH", "PORT_CHOPPED", "PORT_OPEN"])
def test_the_low_fet_opens_before_anything_else_of_its_leg_changes(compiled: Compile, state: str) -> None:
    """The port inserts no dead time, but never closes first."""
    lines = port_code(compiled, f"port_leg(PORT_V, {state});")
    opens = index(lines, "cbi 0x05, 1")

    assert opens < index(lines, "[sc]bi 0x05, 3")
    assert opens < index(lines, r"st [XYZ], r\d+|sts 0x00b0, r\d+")


@pytest.mark.needs_avr
def test_no_call_is_left_of_the_small_ones(compiled: Compile) -> None:
    """Register access that is inlined: what the seam promises."""
    lines = port_code(
        compiled, "port_compare_a(y); port_compare_a_clear(); port_compare_a_interrupt(x); port_mark(3U);"
    )

    assert not any(line.startswith(("call", "rcall")) for line in lines)
