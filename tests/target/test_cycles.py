"""Cycles of hand-written functions.

Counts in the comments are from the AVR Instruction Set Manual, Microchip DS40002198, table
"Instruction Set Summary", column AVRe (from memory): two for a load, store, push, pop or jump taken, one for
a branch not taken, three for jmp and rcall, four for call, ret and reti.
"""

import pytest

from dryspin.target.instructions import RETURN, Instruction, Step, parse, steps
from firmware_under_test.targets.errors import TargetError
from firmware_under_test.targets.image import Image
from firmware_under_test.targets.paths import Bound, Paths, Work
from firmware_under_test.targets.steps import Steps

from .conftest import Assemble, Compile


def function(name: str, *lines: str) -> str:
    """Assembly of one function."""
    body = "\n".join(lines)
    return f".global {name}\n.type {name}, @function\n{name}:\n{body}\n.size {name}, .-{name}\n"


def no_loop(image: Image, head: int, back: tuple[int, ...]) -> Bound:
    """For code that has none."""
    raise AssertionError(f"a loop at {head:#x}")


def longest(image: Image, name: str = "f", bound: int | None = None) -> int:
    """Cycles of the function's longest path; every loop jumps back `bound` times."""
    bound_of = no_loop if bound is None else (lambda image, head, back: Bound(bound))
    return Paths(image, bound_of).of(image.function(name)).longest


@pytest.mark.needs_avr
def test_straight_code_is_the_sum_of_its_instructions(assemble: Assemble) -> None:
    """One of every price: 1 + 2 + 2 + 2 + 2 + 2 + 3 + 2 + 4."""
    image = assemble(
        function(
            "f", "ldi r24, 1", "lds r25, 0x100", "push r25", "pop r25", "adiw r24, 1", "sbi 5, 1"
        ).replace("sbi 5, 1", "sbi 5, 1\nlpm r0, Z\nrjmp 1f\n1: ret")
    )

    assert longest(image) == 1 + 2 + 2 + 2 + 2 + 2 + 3 + 2 + 4


@pytest.mark.needs_avr
def test_a_branch_costs_the_dearer_way(assemble: Assemble) -> None:
    """Not taken: 1 + 1 + 3 + 4; taken: 1 + 2 + 4."""
    image = assemble(function("f", "tst r24", "breq 1f", "nop", "nop", "nop", "1: ret"))

    assert longest(image) == 9


@pytest.mark.needs_avr
def test_skipping_two_words_takes_three_cycles(assemble: Assemble) -> None:
    """sbrc 1, sts 2, ret 4, or sbrc over the two words of sts 3, ret 4: alike. Over one word: 2."""
    image = assemble(
        function("f", "sbrc r24, 0", "sts 0x100, r24", "ret")
        + function("g", "sbrc r24, 0", "rjmp 1f", "ret", "1: nop", "ret")
    )
    ways = {way.target: way.cycles for way in image.body(image.function("f"))[image.function("f")]}

    assert sorted(ways.values()) == [1, 3]
    assert longest(image) == 7
    assert longest(image, "g") == 1 + 2 + 1 + 4


@pytest.mark.needs_avr
def test_a_call_adds_the_callee_and_a_jump_to_a_function_returns_for_both(assemble: Assemble) -> None:
    """call 4, callee 1 + 4, ret 4; rcall 3; jmp 3 and the callee's ret for both."""
    image = assemble(
        function("g", "nop", "ret")
        + function("f", "call g", "ret")
        + function("h", "rcall g", "ret")
        + function("k", "jmp g")
    )

    assert longest(image) == 4 + 5 + 4
    assert longest(image, "h") == 3 + 5 + 4
    assert longest(image, "k") == 3 + 5


@pytest.mark.needs_avr
def test_a_loop_costs_its_bound(assemble: Assemble) -> None:
    """Tested at its end, 5 jumps back: 5 (2 + 1 + 2) and once 2 + 1 + 1, ret 4."""
    image = assemble(function("f", "1: ld r24, X+", "tst r24", "brne 1b", "ret"))

    assert longest(image, bound=5) == 5 * 5 + 4 + 4


@pytest.mark.needs_avr
def test_a_loop_in_a_loop_is_passed_the_product_of_their_bounds(assemble: Assemble) -> None:
    """Inner: 2 jumps back of 1 + 2, once 1 + 1; outer: 2 jumps back of inner + 1 + 2, once inner + 1 + 1."""
    image = assemble(function("f", "1: nop", "2: nop", "brcs 2b", "nop", "breq 1b", "ret"))
    inner = 2 * 3 + 2

    assert longest(image, bound=2) == 2 * (1 + inner + 1 + 2) + (1 + inner + 1 + 1) + 4


@pytest.mark.needs_avr
def test_a_shift_of_the_compiler_is_counted_from_its_own_constant(assemble: Assemble) -> None:
    """ldi 1, four passes of 1 + 1 + 1 + 2 less the last branch's 1, ret 4; nobody has to name it."""
    image = assemble(function("f", "ldi r18, 4", "1: lsr r25", "ror r24", "dec r18", "brne 1b", "ret"))
    paths = Paths(image, Steps(image.path, "", "", "", (), (), "", ()).bounds({}, short_step=False))

    assert paths.of(image.function("f")).longest == 1 + 4 * 5 - 1 + 4


@pytest.mark.needs_avr
@pytest.mark.parametrize(
    "lines",
    [
        ("1: lsr r24", "dec r18", "brne 1b", "ret"),
        ("ldi r18, 4", "rjmp 2f", "1: lsr r24", "2: dec r18", "brne 1b", "ret"),
        ("ldi r18, 4", "1: subi r18, 1", "dec r18", "brne 1b", "ret"),
        ("tst r24", "breq 1f", "ldi r18, 4", "1: lsr r24", "dec r18", "brne 1b", "ret"),
    ],
    ids=["not loaded", "entered at its test", "counter changed", "entered from elsewhere"],
)  # fmt: skip
def test_a_loop_that_only_looks_counted_needs_a_bound(assemble: Assemble, lines: tuple[str, ...]) -> None:
    """A wrong bound is worse than none: it would make the longest path too short."""
    image = assemble(function("f", *lines))
    paths = Paths(image, Steps(image.path, "", "", "", (), (), "", ()).bounds({}, short_step=False))

    with pytest.raises(TargetError, match="a loop without a known bound"):
        paths.of(image.function("f"))


@pytest.mark.needs_avr
@pytest.mark.parametrize("cycles", [1, 2, 3, 5, 7, 10, 30, 100, 299, 600, 766])
def test_delays_of_the_compiler_last_what_they_promise(compiled: Compile, cycles: int) -> None:
    """An outside check: GCC manual, AVR Built-in Functions, __builtin_avr_delay_cycles (ticks): "Delay
    execution for ticks cycles". Its code is nops and loops made by somebody else's count of cycles."""
    image = compiled(
        f"void f(void); void f(void) {{ __builtin_avr_delay_cycles({cycles}UL); }}\n"
        "int main(void) { f(); return 0; }\n"
    )
    paths = Paths(image, Steps(image.path, "", "", "", (), (), "", ()).bounds({}, short_step=False))

    assert paths.of(image.function("f")).longest == cycles + 4


@pytest.mark.needs_avr
@pytest.mark.parametrize(
    ("lines", "message"),
    [
        (("ijmp",), "ijmp goes through a pointer"),
        (("rcall f", "ret"), "f -> f: recursion has no bound"),
        (("1: rjmp 1b",), "never returns"),
        (("tst r24", "breq 2f", "1: nop", "2: dec r24", "brne 1b", "ret"), "entered in several places"),
        ((".word 0xffff",), "no instruction whose cycles are known"),
    ],
)  # fmt: skip
def test_what_cannot_be_bounded_is_refused(assemble: Assemble, lines: tuple[str, ...], message: str) -> None:
    """No number is better than a wrong one."""
    image = assemble(function("f", *lines))

    with pytest.raises(TargetError, match=message):
        longest(image, bound=1)


def test_every_line_of_the_disassembler_is_understood() -> None:
    """Label, comment and the forms of operands, as avr-objdump prints them."""
    text = (
        "00000068 <__ctors_end>:\n"
        "  68:\t11 24       \teor\tr1, r1\n"
        "  9a:\t0e 94 03 0e \tcall\t0x1c06\t; 0x1c06 <main>\n"
        "  9e:\t0f c0       \trjmp\t.+30     \t; 0xbe <x>\n"
        "  a0:\t08 95       \tret\n"
    )

    assert parse(text) == {
        0x68: Instruction(0x68, 2, "eor", ("r1", "r1")),
        0x9A: Instruction(0x9A, 4, "call", ("0x1c06",)),
        0x9E: Instruction(0x9E, 2, "rjmp", (".+30",)),
        0xA0: Instruction(0xA0, 2, "ret", ()),
    }
    assert parse(text)[0x9E].target == 0xBE
    assert steps(parse(text)[0xA0], None, frozenset(), 0) == (Step(RETURN, 4),)


def test_work_that_is_done_once_is_kept_apart() -> None:
    """Of two branches one commutates; then a piece that does not, and one that must."""
    branch = Work(10).either(Work(None, 25))

    assert branch.then(Work(5)) == Work(15, 30)
    assert branch.then(Work(None, 7)) == Work(None, 32)
    assert branch.longest == 25


@pytest.mark.needs_avr
def test_the_way_to_the_marked_function_ends_at_its_first_instruction(assemble: Assemble) -> None:
    """nop 1, call 4, in the callee two nops 2, call 4; what comes after is left out."""
    image = assemble(
        function("m", "nop", "nop", "nop", "ret")
        + function("g", "nop", "nop", "call m", "nop", "ret")
        + function("f", "nop", "call g", "nop", "ret")
    )
    paths = Paths(image, no_loop, image.function("m"))

    assert paths.until_marked(image.function("f")) == 1 + 4 + 2 + 4
    assert (
        Paths(image, no_loop, image.function("m"), frozenset({image.function("g")})).until_marked(
            image.function("f")
        )
        is None
    )
    assert paths.of(image.function("f")) == Work(None, 1 + 4 + (2 + 4 + 7 + 1 + 4) + 1 + 4)
