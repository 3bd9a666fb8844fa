"""Loops whose bound stands in the code itself.

The part shifts by one bit an instruction, so the compiler makes longer shifts loops of its own:

        ldi  r18, 4
    1:  lsr  r25
        ror  r24
        dec  r18
        brne 1b
"""

from dryspin.target.instructions import Instruction
from firmware_under_test.targets.image import Image

LOOK_BACK = 8
"""Instructions between loading the counter and the loop, at most."""

_PAIRS = {"movw", "adiw", "sbiw"}


def counted_jumps(image: Image, head: int, back: tuple[int, ...]) -> int | None:
    """How often a loop that counts a register down from a constant to zero jumps back: once less.

    None for any other loop.
    """
    if len(back) != 1 or image.jumps_to(head) != set(back):
        return None
    last = image.instructions[back[0]]
    body = [i for address, i in image.instructions.items() if head <= address < last.address]
    if last.name != "brne" or not body or body[-1].name != "dec":
        return None
    counter = body[-1].operands[0]
    straight = all(len(image.jumps_to(i.address)) == 0 for i in body[1:])
    if not straight or any(_touches(i, counter) or not _falls_through(i) for i in body[:-1]):
        return None
    passes = _loaded(image, head, counter)
    return None if passes is None else passes - 1


def _loaded(image: Image, head: int, counter: str) -> int | None:
    """The constant in `counter` when the code runs into `head` from above."""
    before = sorted(address for address in image.instructions if address < head)[-LOOK_BACK:]
    for address in reversed(before):
        instruction = image.instructions[address]
        if instruction.name == "ldi" and instruction.operands[0] == counter:
            return int(instruction.operands[1], 16) or 256
        if _touches(instruction, counter) or not _falls_through(instruction) or image.jumps_to(address):
            return None
    return None


def _touches(instruction: Instruction, register: str) -> bool:
    if register in instruction.operands:
        return True
    number = int(register[1:])
    return instruction.name in _PAIRS and f"r{number - number % 2}" in instruction.operands


def _falls_through(instruction: Instruction) -> bool:
    """Neither jump, branch, call nor return: a shift has none, and a callee may use the counter."""
    return instruction.is_plain
