"""Instructions of the AVR core as avr-objdump prints them, and where each can go in how many cycles.

Cycles are those of the core with a 16-bit program counter and up to 8 K words of flash, the ATmega168's:
AVR Instruction Set Manual, Microchip DS40002198, table "Instruction Set Summary", column AVRe (from
memory).
"""

import re
from dataclasses import dataclass

from dryspin.errors import TargetError

_LINE = re.compile(
    r"^\s*(?P<address>[0-9a-f]+):\t(?P<code>(?:[0-9a-f]{2} )+)\s*\t(?P<name>[.\w]+)"
    r"(?:\t(?P<operands>[^;]*))?(?:;.*)?$"
)

RETURN = -1
"""Where `ret` and `reti` go: back to whoever called."""

_CYCLES = {
    1: "adc add and andi asr bclr bld bset bst clc clh cli cln clr cls clt clv clz com cp cpc cpi dec eor "
    "in inc ldi lsl lsr mov movw neg nop or ori out rol ror sbc sbci sbr sec seh sei sen ser ses set sev "
    "sez sleep sub subi swap tst wdr",
    2: "adiw cbi fmul fmuls fmulsu ld ldd lds mul muls mulsu pop push sbi sbiw st std sts",
    3: "lpm",
}
_PLAIN = {name: cycles for cycles, names in _CYCLES.items() for name in names.split()}
_SKIPS = {"cpse", "sbic", "sbis", "sbrc", "sbrs"}
_CALLS = {"call": 4, "rcall": 3}
_JUMPS = {"jmp": 3, "rjmp": 2}
_RETURNS = {"ret": 4, "reti": 4}
_UNKNOWN = (
    " is no instruction whose cycles are known here; if the part has it, add it with its cycles from the "
    "instruction set manual"
)
_UNFOLLOWED = {"ijmp", "icall", "eijmp", "eicall"}


@dataclass(frozen=True, slots=True)
class Instruction:
    """One instruction: its byte address, size in bytes, mnemonic and operands as text."""

    address: int
    size: int
    name: str
    operands: tuple[str, ...]

    @property
    def next(self) -> int:
        """Address of the instruction behind it."""
        return self.address + self.size

    @property
    def target(self) -> int:
        """Address it jumps, branches or calls to."""
        where = self.operands[-1]
        return self.next + int(where[1:]) if where.startswith(".") else int(where, 16)

    @property
    def is_plain(self) -> bool:
        """It has one way on: to the instruction behind it."""
        return self.name in _PLAIN

    @property
    def plain_cycles(self) -> int:
        """Cycles of an instruction with one way on. Raises TargetError for one that is not known."""
        if not self.is_plain:
            raise TargetError(f"{self.address:#06x}: {self.name}{_UNKNOWN}")
        return _PLAIN[self.name]

    @property
    def skips(self) -> bool:
        """It may leave out the instruction behind it."""
        return self.name in _SKIPS

    @property
    def jumps(self) -> bool:
        """It names another instruction of its program: a jump, branch or call."""
        return self.name in _CALLS or self.name in _JUMPS or _is_branch(self.name)

    @property
    def allocates(self) -> bool:
        """`rcall .+0`: two bytes of stack in one word, no call."""
        return self.name == "rcall" and self.target == self.next


@dataclass(frozen=True, slots=True)
class Step:
    """One way on: to the instruction at `target`, or RETURN, after `cycles` and, if not None, `callee`."""

    target: int
    cycles: int
    callee: int | None = None


def _is_branch(name: str) -> bool:
    return name.startswith("br") and name != "break"


def parse(text: str) -> dict[int, Instruction]:
    """Instructions by address, from the output of `avr-objdump -d`."""
    found = {}
    for line in text.splitlines():
        if match := _LINE.match(line):
            operands = tuple(part.strip() for part in (match["operands"] or "").split(",") if part.strip())
            address = int(match["address"], 16)
            found[address] = Instruction(address, len(match["code"].split()), match["name"], operands)
    return found


def steps(
    instruction: Instruction, following: Instruction | None, functions: frozenset[int], function: int
) -> tuple[Step, ...]:
    """All ways on from an instruction of the function that begins at `function`.

    `following` is the instruction behind it, `functions` the addresses where functions begin: a jump
    to another one is a call that returns for its caller. Raises TargetError where the way cannot be
    known from the code.
    """
    name = instruction.name
    if name in _PLAIN:
        return (Step(instruction.next, _PLAIN[name]),)
    if name in _RETURNS:
        return (Step(RETURN, _RETURNS[name]),)
    if name in _SKIPS:
        size = following.size if following is not None else 2
        return (Step(instruction.next, 1), Step(instruction.next + size, 1 + size // 2))
    if name in _CALLS:
        callee = None if instruction.allocates else instruction.target
        return (Step(instruction.next, _CALLS[name], callee),)
    if name in _JUMPS:
        if instruction.target in functions and instruction.target != function:
            return (Step(RETURN, _JUMPS[name], instruction.target),)
        return (Step(instruction.target, _JUMPS[name]),)
    if _is_branch(name):
        return (Step(instruction.next, 1), Step(instruction.target, 2))
    if name in _UNFOLLOWED:
        raise TargetError(
            f"{instruction.address:#06x}: {name} goes through a pointer, so its way cannot be followed; "
            "call functions by name, and build without jump tables"
        )
    raise TargetError(f"{instruction.address:#06x}: {name}{_UNKNOWN}")
