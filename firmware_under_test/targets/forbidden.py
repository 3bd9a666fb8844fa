"""What has no place in a step: dividing, converting, writing to the store.

The part divides in software, some hundred cycles a quotient; a conversion takes the multiplexer from
the comparator; a store write takes 3.3 ms and wants interrupts off. All three are looked for in the
object code of everything the step's handlers can call.
"""

import re
import subprocess
from functools import cache

from dryspin.target.instructions import Instruction
from firmware_under_test.targets.errors import TargetError
from firmware_under_test.targets.image import Image
from firmware_under_test.targets.toolchain import PART

SLOW = re.compile(r"^__\w*(div|mod)\w*$|^__mul[sd]i3$|^__\w+[sd]f\d?$|^__fp_\w+$")
"""Functions of libgcc: quotients, products that take no instruction of the part, floating point."""

GUARDED = {"EECR": "writes to the store", "ADCSRA": "turns the converter on, off or to work"}
"""Registers that must not be written, and what writing them does."""

IO_OFFSET = 0x20
"""I/O address 0 is data address 0x20 (data sheet, section "I/O Memory")."""

_BY_IO_ADDRESS = {"out", "sbi", "cbi"}
_BY_POINTER = re.compile(r"^-?[XYZ]\+?(?P<displacement>\d+)?$")


@cache
def guarded_addresses() -> dict[int, str]:
    """Data address to register, from the device header of avr-libc."""
    text = "#include <avr/io.h>\n" + "".join(
        f'_Static_assert(1, ""); int at_{name} = _SFR_MEM_ADDR({name});\n' for name in GUARDED
    )
    done = subprocess.run(
        ["avr-gcc", f"-mmcu={PART}", "-Os", "-S", "-x", "c", "-", "-o", "-"],
        input=text,
        capture_output=True,
        text=True,
        check=False,
    )
    found = {
        int(value): name
        for name, value in re.findall(r"^at_(\w+):\s*\.word\s+(\d+)", done.stdout, re.MULTILINE)
    }
    if len(found) != len(GUARDED):
        raise TargetError(f"the addresses of {', '.join(GUARDED)} could not be read: {done.stderr.strip()}")
    return found


def slow_calls(image: Image, functions: set[int]) -> list[str]:
    """Calls of SLOW functions, each with its place."""
    found = []
    for function in sorted(functions):
        for address, ways in sorted(image.body(function).items()):
            for way in ways:
                if way.callee is not None and SLOW.match(image.name(way.callee)):
                    found.append(
                        f"{image.place(address)}: {image.name(function)} calls {image.name(way.callee)}, "
                        "arithmetic in software"
                    )
    return found


def guarded_writes(image: Image, functions: set[int]) -> list[str]:
    """Writes to GUARDED registers, each with its place.

    A write through a pointer counts if its function loads the register's address as a constant, no
    matter whether into that very pointer: rather one alarm too many.
    """
    guarded = guarded_addresses()
    found = []
    for function in sorted(functions):
        body = sorted(image.body(function))
        code = [image.instructions[address] for address in body]
        constants = _constants(code)
        for instruction in code:
            for address in _written(instruction, constants) & guarded.keys():
                name = guarded[address]
                found.append(
                    f"{image.place(instruction.address)}: {image.name(function)} writes {name}, "
                    f"which {GUARDED[name]}"
                )
    return found


def _written(instruction: Instruction, constants: set[int]) -> set[int]:
    """Data addresses that the instruction can write to, as far as constants tell."""
    if instruction.name in _BY_IO_ADDRESS:
        return {int(instruction.operands[0], 16) + IO_OFFSET}
    if instruction.name == "sts":
        return {int(instruction.operands[0], 16)}
    if instruction.name in ("st", "std"):
        match = _BY_POINTER.match(instruction.operands[0])
        displacement = int(match["displacement"] or 0) if match else 0
        return {constant + displacement for constant in constants}
    return set()


def _constants(code: list[Instruction]) -> set[int]:
    """16-bit constants that a pair of registers may hold: any low byte with any high byte loaded."""
    low: dict[int, set[int]] = {}
    high: dict[int, set[int]] = {}
    for instruction in code:
        if instruction.name != "ldi":
            continue
        register, value = int(instruction.operands[0][1:]), int(instruction.operands[1], 16)
        (high if register % 2 else low).setdefault(register // 2, set()).add(value)
    return {
        low_byte + 256 * high_byte
        for pair, low_bytes in low.items()
        for low_byte in low_bytes
        for high_byte in high.get(pair, set())
    }
