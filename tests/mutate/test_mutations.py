"""Changes of C text: which there are, that each touches its own bytes only, and what is left alone."""

from collections import Counter
from textwrap import dedent

import pytest

from dryspin.build import firmware_text
from dryspin.build.library import PORT
from dryspin.drive import load_drive
from dryspin.mutate import KINDS
from dryspin.mutate.mutations import mutations, neighbours, parse_source

from ..small_firmware import BOW_THRUSTER


def changes(text, beside=None, functions=()):
    """(line, kind, before, after) of every change of a source."""
    source = parse_source("main.c", dedent(text).encode())
    return [(m.line, m.kind, m.before, m.after) for m in mutations(source, beside or {}, functions)]


def test_a_comparison_moves_its_border_and_turns_round():
    """The two mistakes that are made with it."""
    assert changes("int f(int a) { return a < b; }") == [
        (1, "comparison", "<", "<="),
        (1, "comparison", "<", ">="),
    ]
    assert changes("int f(int a) { return a == b && !c; }") == [
        (1, "comparison", "&&", "||"),
        (1, "comparison", "==", "!="),
        (1, "comparison", "!", ""),
    ]


def test_an_attribute_macro_before_a_function_is_passed_over():
    """Nothing is expanded here; `SELDOM void f(void)` is a function like any other."""
    assert changes("static SELDOM void f(int a)\n{\n\tg(a < b);\n}") == changes(
        "static void f(int a)\n{\n\tg(a < b);\n}"
    )


def test_whole_numbers_are_one_off_in_their_own_spelling():
    """Suffix and base stay; below 0 there is nothing for what is unsigned."""
    found = changes("int f(void) { return g(0x10U, 0, 010UL, 1.5, 'a'); }")

    assert [(before, after) for _, _, before, after in found] == [
        ("0x10U", "0x11U"),
        ("0x10U", "0xfU"),
        ("0", "1"),
        ("010UL", "9UL"),
        ("010UL", "7UL"),
    ]


def test_signs_are_turned():
    """Of sums, of steps, and of a value."""
    found = changes("void f(void) { a = -b + c; a += b; a--; }")

    assert [(kind, before, after) for _, kind, before, after in found if kind == "sign"] == [
        ("sign", "+", "-"),
        ("sign", "-", ""),
        ("sign", "+=", "-="),
        ("sign", "--", "++"),
    ]


def test_statements_are_left_out_unless_they_return_a_value():
    """A function that returns nothing where it promised something is the compiler's to find."""
    found = changes(
        """
        int f(int a)
        {
            int b = g(a);
            h(a);
            while (a) {
                if (b) break; else continue;
            }
            ;
            return a;
        }
        void g(void) { return; }
        """
    )

    assert [(line, before) for line, kind, before, _ in found if kind == "removed statement"] == [
        (5, "h(a);"),
        (7, "break;"),
        (7, "continue;"),
        (12, "return;"),
    ]


CONSTANTS = """
    #define ALONE 1

    #define FORWARD 1U   /* one way */
    #define REVERSE 2U
    #define THIRD (REVERSE + 1U)
    #define FLAG
    enum stage { SHUT, OPEN = 4, ASKED };
"""


def test_the_neighbour_of_a_constant_stands_in_the_same_list():
    """The last one's is the first; macros without a value are no constants."""
    assert neighbours({"a.h": dedent(CONSTANTS).encode()}) == {
        "FORWARD": "REVERSE",
        "REVERSE": "THIRD",
        "THIRD": "FORWARD",
        "SHUT": "OPEN",
        "OPEN": "ASKED",
        "ASKED": "SHUT",
    }


def test_constants_are_swapped_where_they_are_values():
    """Not where they are defined, declared or asked for by the preprocessor."""
    text = """
    #define A 1
    #define B 2
    #if A
    #endif
    static int A(int B);
    int t[] = {A};
    int f(int x) { return x ? A : g(B); }
    """
    found = [change for change in changes(text, {"A": "B", "B": "A"}) if change[1] == "swapped constant"]

    assert found == [
        (7, "swapped constant", "A", "B"),
        (8, "swapped constant", "A", "B"),
        (8, "swapped constant", "B", "A"),
    ]


def test_sizes_of_arrays_are_left_alone():
    """One more element changes nothing that a claim could see."""
    assert changes("static int table[3]; int f(void) { int here[4 + 1]; return here[2]; }") == [
        (1, "off by one", "2", "3"),
        (1, "off by one", "2", "1"),
    ]


def test_only_the_named_functions_are_changed():
    """Tables and other functions stay."""
    text = "int t[] = {1}; int f(void) { return 1; } int *g(void) { return h(5); }"

    assert {before for _, _, before, _ in changes(text, functions=["g"])} == {"5"}


def test_a_change_touches_its_own_bytes_and_shows_its_line():
    """Macros, comments and umlauts before it stay as they are."""
    text = dedent(
        """\
        /* größer, in UTF-8 */
        #define LIMIT(x) ((x) < 3)
        int f(int a)
        {
            return LIMIT(a) && a < 7; /* so */
        }
        """
    )
    source = parse_source("main.c", text.encode())
    seven = next(m for m in mutations(source, {}) if m.after == "8")

    assert seven.applied(source.content).decode() == text.replace("7", "8")
    assert (seven.function, seven.line) == ("f", 5)
    assert seven.old_line == "return LIMIT(a) && a < 7; /* so */"
    assert seven.new_line == "return LIMIT(a) && a < 8; /* so */"
    assert not [m for m in mutations(source, {}) if m.line == 2]


def test_what_the_parser_does_not_understand_is_left_alone_and_told():
    """The rest of the file is changed all the same."""
    source = parse_source("main.c", b"int f(void) { return 1; }\nint @@ g(;\nint h(void) { return 2; }\n")

    assert source.gaps == (2,)
    assert {m.line for m in mutations(source, {})} <= {1, 3}


@pytest.fixture(scope="module")
def thruster_mutations():
    """Every change of the shipped firmware, and its files."""
    text = firmware_text(load_drive(BOW_THRUSTER), BOW_THRUSTER)
    headers = {name: text.files[name] for name in text.files if name.endswith(".h")}
    shared = neighbours({"drive_port.h": (PORT / "drive_port.h").read_bytes()} | headers)
    made = []
    for name in text.sources:
        source = parse_source(name, text.files[name])
        assert source.gaps == ()
        made += mutations(source, shared | neighbours({name: source.content}))
    return made, text.files


def test_the_thruster_offers_changes_of_every_kind(thruster_mutations):
    """Hundreds; a parser that lost its way would leave gaps or find few."""
    kinds = Counter(mutation.kind for mutation in thruster_mutations[0])

    assert set(kinds) == set(KINDS)
    assert min(kinds.values()) >= 40


def test_no_two_changes_of_the_thruster_are_the_same_text(thruster_mutations):
    """And none leaves the text as it is."""
    made, files = thruster_mutations
    texts = [(mutation.file, mutation.applied(files[mutation.file])) for mutation in made]

    assert len(set(texts)) == len(texts)
    assert not [mutation for mutation, (name, text) in zip(made, texts, strict=True) if text == files[name]]
