"""What the part's compiler has put before a loop, in a few instructions written by hand, two bytes each."""

from dryspin.target.entries import entries_of
from dryspin.target.instructions import Instruction
from dryspin.target.program import Code

Row = tuple[str, str, int] | tuple[str, str, int, int]
"""Mnemonic, operands (`>3`: to row 3), line, and the copy of a function where it is not the first."""

LOOP: list[Row] = [
    ("ldi", "r24, 0x09", 10),
    ("ldi", "r18, 0x03", 12),  # moved up from the loop's body
    ("cp", "r24, r18", 11),
    ("breq", ">6", 11),
    ("subi", "r24, 0x01", 12),
    ("rjmp", ">2", 12),
    ("ret", "", 13),
]


def code(rows: list[Row]) -> Code:
    """One function that begins at 0."""
    instructions, lines, copies = {}, {}, {}
    for k, (name, text, line, *copy) in enumerate(rows):
        operands = [part.strip() for part in text.split(",") if part]
        operands = [hex(2 * int(part[1:])) if part.startswith(">") else part for part in operands]
        instructions[2 * k] = Instruction(2 * k, 2, name, tuple(operands))
        lines[2 * k], copies[2 * k] = f"f.c:{line}", copy[0] if copy else 1
    owners = {copy: ("f.c", 1, f"f{copy}") for copy in copies.values()}
    return Code(instructions, lines, copies, owners, frozenset({0}), frozenset(), {0: "f1"})


def test_what_stands_before_a_loop_is_charged_with_the_line_above_it() -> None:
    """Line 12 has one instruction before the loop and two in it."""
    entries = entries_of(code(LOOP), frozenset())

    assert (entries.above, entries.around) == ({2: "f.c:10"}, {})
    assert entries.heads == {"f.c:11"}


def test_what_follows_a_loop_is_no_entry_of_it() -> None:
    """A way out in the midst of the body: its lines lie between those of the loop."""
    rows: list[Row] = [
        ("ldi", "r24, 0x09", 10),
        ("cp", "r24, r18", 11),
        ("breq", ">5", 11),
        ("subi", "r24, 0x01", 13),
        ("rjmp", ">1", 13),
        ("ldi", "r24, 0x00", 12),
        ("ret", "", 14),
    ]
    entries = entries_of(code(rows), frozenset())

    assert (entries.above, entries.around) == ({}, {})


def test_behind_a_branch_the_line_of_the_branch_runs_too_often() -> None:
    """No line above the loop stands behind the branch: the instruction is left with its own."""
    rows: list[Row] = [
        ("tst", "r20", 10),
        ("breq", ">7", 10),
        ("ldi", "r18, 0x03", 11),
        ("cp", "r24, r18", 11),
        ("breq", ">7", 11),
        ("subi", "r24, 0x01", 12),
        ("rjmp", ">3", 12),
        ("ret", "", 13),
    ]
    entries = entries_of(code(rows), frozenset())

    assert (entries.above, entries.around) == ({}, {})
    assert entries.heads == {"f.c:11"}


def test_first_in_a_loop_around_it_an_entry_belongs_to_the_passes_of_that() -> None:
    """Line 11 begins the outer body with the inner loop; what is before both has the line above both."""
    rows: list[Row] = [
        ("ldi", "r20, 0x04", 9),
        ("ldi", "r19, 0x05", 11),
        ("ldi", "r18, 0x03", 11),
        ("cp", "r24, r18", 11),
        ("brne", ">3", 11),
        ("subi", "r20, 0x01", 10),
        ("brne", ">2", 10),
        ("ret", "", 12),
    ]
    entries = entries_of(code(rows), frozenset())

    assert (entries.above, entries.around) == ({2: "f.c:9"}, {4: "f.c:10"})
    assert entries.heads == {"f.c:10", "f.c:11"}


def test_a_function_put_into_a_loop_as_a_whole_does_not_begin_it() -> None:
    """Its first line is that of no loop: it stands beside nothing of its own."""
    rows = [*LOOP[:4], ("subi", "r24, 0x01", 30, 2), ("inc", "r25", 31, 2), *LOOP[5:]]
    rows[3] = ("breq", ">7", 11)

    assert entries_of(code(rows), frozenset()).heads == {"f.c:11"}


def test_loops_of_the_compiler_s_own_and_jumps_by_a_table_are_left_alone() -> None:
    """The former count as often as they are passed; where the latter lead, the code does not tell."""
    own = frozenset(range(4, 12, 2))
    by_table = [*LOOP[:6], ("ijmp", "", 13)]

    for entries in (entries_of(code(LOOP), own), entries_of(code(by_table), frozenset())):
        assert (entries.above, entries.around, entries.heads) == ({}, {}, frozenset())
