"""What has no place in a step is seen in object code, in every form the compiler gives it."""

import pytest

from firmware_under_test.targets.forbidden import guarded_addresses, guarded_writes, slow_calls

from .conftest import Compile

PROGRAM = """
#include <drive_port.h>
void f(uint8_t x, uint16_t y, uint32_t z);
volatile uint32_t result;
static void __attribute__((noinline)) below(uint8_t x, uint16_t y, uint32_t z)
{{
	(void)x; (void)y; (void)z;
	{statement}
}}
void f(uint8_t x, uint16_t y, uint32_t z) {{ below(x, y, z); }}
int main(void) {{ f(SREG, TCNT1, result); for (;;) {{ }} }}
"""


@pytest.mark.needs_avr
@pytest.mark.parametrize(
    ("statement", "helper"),
    [
        ("result = y / x;", "__udivmodhi4"),
        ("result = (uint8_t)(SREG % x);", "__udivmodqi4"),
        ("result = z / y;", "__udivmodsi4"),
        ("result = (uint32_t)((int32_t)z / 7);", "__divmodsi4"),
        ("result = z * z;", "__mulsi3"),
        ("result = (uint32_t)((float)y * 0.5f);", "__mulsf3"),
    ],
)
def test_arithmetic_in_software_is_found(compiled: Compile, statement: str, helper: str) -> None:
    """Names of libgcc's routines for what the part has no instruction for: GCC Internals, "Routines for
    integer arithmetic", and avr's own __udivmod family."""
    image = compiled(PROGRAM.format(statement=statement))
    found = slow_calls(image, image.reachable([image.function("f")]))

    assert any(f"below calls {helper}, arithmetic in software" in line for line in found), found
    assert "snippet.c:" in found[0]


@pytest.mark.needs_avr
@pytest.mark.parametrize("statement", ["result = (uint32_t)x * y;", "result = y >> 4;", "result = y / 8U;"])
def test_what_the_part_has_instructions_for_is_not_held_against_a_step(
    compiled: Compile, statement: str
) -> None:
    """An 8-bit multiplier and shifts."""
    image = compiled(PROGRAM.format(statement=statement))

    assert slow_calls(image, image.reachable([image.function("f")])) == []


@pytest.mark.needs_avr
@pytest.mark.parametrize(
    ("statement", "register"),
    [
        ("port_store_write(y, x);", "EECR"),
        ("EECR |= _BV(EEPE);", "EECR"),
        ("port_convert_bus();", "ADCSRA"),
        ("port_convert_off();", "ADCSRA"),
        ("port_convert_interrupt(x);", "ADCSRA"),
        ("ADCSRA = x;", "ADCSRA"),
        ("ADCSRA |= _BV(ADSC);", "ADCSRA"),
        ("for (volatile uint8_t *p = &ADCSRA; x != 0U; x--) *p = x;", "ADCSRA"),
    ],
)
def test_converting_and_storing_are_found(compiled: Compile, statement: str, register: str) -> None:
    """Through one instruction, a plain store, or a pointer with the register's address."""
    image = compiled(PROGRAM.format(statement=statement))
    found = guarded_writes(image, image.reachable([image.function("f")]))

    assert any(f"below writes {register}" in line for line in found), found


@pytest.mark.needs_avr
def test_selecting_and_looking_are_no_conversion(compiled: Compile) -> None:
    """The comparator's multiplexer is the converter's, and whether that is on is read at each selection."""
    image = compiled(PROGRAM.format(statement="port_sense_select(x); result = port_sense_above();"))

    assert guarded_writes(image, image.reachable([image.function("f")])) == []


@pytest.mark.needs_avr
def test_addresses_are_those_of_the_device() -> None:
    """Data sheet, "Register Summary" (from memory): EECR at 0x1F, data address 0x3F; ADCSRA at 0x7A."""
    assert guarded_addresses() == {0x3F: "EECR", 0x7A: "ADCSRA"}
