"""Where statements begin and end, and which of their lines is told."""

import pytest

from dryspin.faults import Place
from dryspin.faults.statements import Statements, statements


@pytest.mark.parametrize(
    ("text", "spans"),
    [
        ("a = 1;\nb = 2;", [(1, 1), (2, 2)]),
        ("a =\n  1;\nb = 2;", [(1, 2), (3, 3)]),
        ("if (a\n    && b)\n  c = 1;\nelse\n  d = 1;", [(1, 2), (3, 3), (4, 4), (5, 5)]),
        ("for (a = 0;\n     a < 3;\n     a++)\n  c = 1;", [(1, 3), (4, 4)]),
        ("do\n  a++;\nwhile (a\n  < 3);", [(1, 1), (2, 2), (3, 4), (4, 4)]),
        ("switch (a) {\ncase 1:\n  b = 1;\ndefault:\n  c = 1;\n}", [(1, 1), (2, 2), (3, 3), (4, 4), (5, 5)]),
        ('a = b /* c;\n d; */ + 1; // e;\nf = \';\' + ";\\";"[0]\n;', [(1, 2), (3, 4)]),
        ("#define A(x) do { \\\n x; } while (0)\na = 1;", [(3, 3)]),
        ("a = x[1;\n", []),
        ("} a = 1;", [(1, 1)]),
    ],
)
def test_a_statement_ends_where_the_language_ends_it(text, spans) -> None:
    """Comments, strings and what the preprocessor reads have no part in it; odd text does no harm."""
    assert list(statements(text)) == spans


SOURCE = b"""\
result = c > 3
    ? speed
    : speed + 1;
speed
    += added(1,
             2);
at->width = a
    + 1;
x = speed; y = speed
    + x;
"""


def moved(line: int, name: str = "speed") -> str:
    """The line told for that of the compiler."""
    return Statements({"main.c": SOURCE}).naming(Place(f"main.c:{line}", "f"), name).line


def test_the_nearest_line_of_the_statement_that_names_the_variable_is_told() -> None:
    """The line of `?` or `+=` says nothing of the variable."""
    assert [moved(line) for line in (1, 2, 3, 4, 5, 6)] == [f"main.c:{k}" for k in (2, 2, 3, 4, 4, 4)]


def test_a_line_stays_where_its_statement_does_not_name_the_variable() -> None:
    """Reached through a pointer; and a part of a name is not the name."""
    assert [moved(7), moved(8)] == ["main.c:7", "main.c:8"]
    assert moved(5, "add") == "main.c:5"


@pytest.mark.parametrize("line", ["main.c:99", "other.c:1", "", "main.c:"])
def test_a_place_outside_the_sources_stays_as_it_is(line: str) -> None:
    """Code of the rig's own headers, or none that is known."""
    assert Statements({"main.c": SOURCE}).naming(Place(line, "f"), "speed").line == line


def test_two_lines_are_of_one_statement_or_not() -> None:
    """Line 9 ends one and begins another, which goes on in line 10."""
    known = Statements({"main.c": SOURCE})

    def one(a: int, b: int, function: str = "f") -> bool:
        return known.one(Place(f"main.c:{a}", "f"), Place(f"main.c:{b}", function))

    assert one(1, 3)
    assert one(9, 10)
    assert one(9, 9)
    assert not one(3, 4)
    assert not one(8, 9)
    assert not one(4, 6, "g")
