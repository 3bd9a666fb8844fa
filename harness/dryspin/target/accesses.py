"""Instructions whose cycles the virtual part lets pass itself, at the moment of the access they make.

At register level the rig charges each access to a register, `cli` and its kin, and a handler's return; so the
line must not be charged for them again. A register reached through a pointer is known where the code loads a
constant into the pointer; one that the code computes is charged twice, 2 cycles too many.
"""

from collections.abc import Mapping, Set

from dryspin.target.instructions import Instruction

FIRST_RAM = 0x100
"""Data sheet, section "SRAM Data Memory": below stand the registers."""

STATUS, STACK_LOW, STACK_HIGH = 0x3F, 0x3D, 0x3E
"""I/O addresses of SREG, SPL, SPH; section "Register Summary"."""

SCRATCH = "r0"
"""What the compiler itself keeps SREG in; sources never get it (GCC's AVR calling convention)."""

_BY_NAME = {"sbi": 2, "cbi": 2, "sbic": 1, "sbis": 1, "sei": 1, "wdr": 1, "nop": 1, "sleep": 1, "reti": 4}
_ACCESS = {"ld": 2, "ldd": 2, "st": 2, "std": 2}
_POINTERS = {"X": 26, "Y": 28, "Z": 30}
_READS = {
    *("cp", "cpc", "cpi", "cpse", "tst", "push", "out", "st", "std", "sts"),
    *("sbrc", "sbrs", "bst", "sbi", "cbi"),
}
"""Instructions that leave the register they name first as it is."""

_LOST = ("r18", "r19", "r20", "r21", "r22", "r23", "r24", "r25", "r26", "r27", "r30", "r31")
"""By a call (calling convention)."""


def told_apart(instructions: Mapping[int, Instruction], functions: Set[int]) -> dict[int, int]:
    """Cycles by address. functions: where one begins, nothing is known of any register."""
    found: dict[int, int] = {}
    known: dict[str, int] = {}
    before: Instruction | None = None
    for at in sorted(instructions):
        each = instructions[at]
        if at in functions:
            known = {}
        if cycles := _cycles(each, before, known):
            found[at] = cycles
        _follow(each, known)
        before = each
    return found


def _cycles(each: Instruction, before: Instruction | None, known: Mapping[str, int]) -> int:
    name = each.name
    if name in _BY_NAME:
        return _BY_NAME[name]
    if name == "cli":
        # the compiler's own, around a change of the stack pointer
        own = before is not None and before.name == "in" and before.operands == (SCRATCH, hex(STATUS))
        return 0 if own else 1
    if name in ("in", "out"):
        register, place = each.operands if name == "in" else each.operands[::-1]
        own = int(place, 16) in (STACK_LOW, STACK_HIGH) or (int(place, 16) == STATUS and register == SCRATCH)
        return 0 if own else 1
    if name in ("lds", "sts"):
        place = each.operands[1 if name == "lds" else 0]
        return 2 if int(place, 16) < FIRST_RAM else 0
    if name in _ACCESS:
        address = _reached(each.operands[1 if name.startswith("ld") else 0], known)
        return _ACCESS[name] if address is not None and address < FIRST_RAM else 0
    return 0


def _reached(operand: str, known: Mapping[str, int]) -> int | None:
    """Address of `Z`, `Z+`, `-Z` or `Z+3`; None where the pointer is not known."""
    letter = operand.strip("+-0123456789")
    low, high = f"r{_POINTERS[letter]}", f"r{_POINTERS[letter] + 1}"
    if low not in known or high not in known:
        return None
    further = operand.partition("+")[2]
    return known[low] + 256 * known[high] + (int(further) if further else 0) - operand.startswith("-")


def _follow(each: Instruction, known: dict[str, int]) -> None:
    """What registers hold behind an instruction, in the order of the text."""
    name, operands = each.name, each.operands
    if name in ("call", "rcall", "icall"):
        for register in _LOST:
            known.pop(register, None)
    elif name == "ldi":
        known[operands[0]] = int(operands[1], 16)
    elif name == "movw":
        for k in range(2):
            source, target = (f"r{int(operand[1:]) + k}" for operand in (operands[1], operands[0]))
            if source in known:
                known[target] = known[source]
            else:
                known.pop(target, None)
    elif operands and operands[0].startswith("r") and name not in _READS:
        known.pop(operands[0], None)
        if name in ("adiw", "sbiw"):
            known.pop(f"r{int(operands[0][1:]) + 1}", None)
    for operand in operands:
        if operand.endswith("+") or operand.startswith("-"):
            known.pop(f"r{_POINTERS.get(operand.strip('+-'), 0)}", None)
