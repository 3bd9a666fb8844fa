"""Properties of ranges, cycles, and of the reader under any input."""

import pytest
import tomli_w
from hypothesis import given
from hypothesis import strategies as st

from dryspin.drive import Range, load_drive
from dryspin.errors import DriveError, UnitError
from dryspin.units import cycles

from .sheet import SHEET

FINITE = st.floats(-1e6, 1e6)


@given(st.lists(FINITE, min_size=3, max_size=3).map(sorted))
def test_range_holds_its_ends_and_nothing_beyond(ends):
    """Both ends belong to it."""
    span = Range(*ends)

    assert all(value in span for value in ends)
    assert ends[0] - 1 not in span
    assert ends[2] + 1 not in span


@given(st.lists(st.floats(1e-6, 1e6), min_size=3, max_size=3).map(sorted))
def test_factors_turn_nominal_into_the_ends(ends):
    """A scenario's factor at either end gives the part at that end."""
    span = Range(*ends)

    assert span.factors.low * span.nominal == pytest.approx(span.low, rel=1e-12)
    assert span.factors.high * span.nominal == pytest.approx(span.high, rel=1e-12)


def test_factor_on_a_nominal_of_zero_is_one():
    """No factor changes nothing."""
    assert Range(-1.0, 0.0, 1.0).factors == Range(1.0, 1.0, 1.0)


@pytest.mark.parametrize("ends", [(2, 1, 3), (1, 3, 2), (float("nan"), 1, 2), (0, 1, float("inf"))])
def test_range_out_of_order_or_endless_cannot_be_built(ends):
    """Not from code either."""
    with pytest.raises(ValueError, match=r"must be (finite|in the order)"):
        Range(*ends)


@given(st.integers(0, 10**9), st.sampled_from([1e6, 8e6, 16e6, 20e6]))
def test_microseconds_are_whole_cycles(t_us, f_cpu_hz):
    """Decimal text is exact: no cycle is lost to binary fractions."""
    assert cycles(f"{t_us}e-6", f_cpu_hz) == t_us * int(f_cpu_hz) // 1_000_000


def test_moment_between_two_cycles_is_refused_unless_rounded():
    """31.25 ns is half a cycle at 16 MHz."""
    with pytest.raises(UnitError) as refusal:
        cycles(31.25e-9, 16e6)
    assert str(refusal.value) == (
        "3.125e-08 s is 0.500 cycles at 1.6e+07 Hz; choose a whole number of cycles or pass rounded=True"
    )
    assert cycles(40e-9, 16e6, rounded=True) == 1


VALUES = st.recursive(
    st.none().map(lambda _: 0) | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=5,
)
PLACES = st.sampled_from([(table, key) for table, keys in SHEET.items() for key in keys])


@given(place=PLACES, value=VALUES)
def test_any_value_anywhere_is_taken_or_refused_with_its_place(place, value, tmp_path_factory):
    """Bad input never ends in a traceback."""
    table, key = place
    path = tmp_path_factory.mktemp("drive") / "drive.toml"
    path.write_text(tomli_w.dumps(SHEET | {table: SHEET[table] | {key: value}}), encoding="utf-8", newline="")
    try:
        place_named = str(load_drive(path).path)
    except DriveError as refusal:
        place_named = str(refusal)

    assert place_named.startswith(str(path))


@given(content=st.binary(max_size=60))
def test_any_bytes_are_refused_with_the_file(content, tmp_path_factory):
    """No sixty bytes make a drive."""
    path = tmp_path_factory.mktemp("drive") / "drive.toml"
    path.write_bytes(content)
    with pytest.raises(DriveError) as refusal:
        load_drive(path)

    assert str(refusal.value).startswith(str(path))
