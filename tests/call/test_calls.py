"""Calls of single functions: arguments, results, state, and calm whatever the firmware does."""

import math
from pathlib import Path
from textwrap import dedent
from types import SimpleNamespace

import pytest

from dryspin.call import CallableFirmware, Pointer, load_firmware
from dryspin.errors import CallError, NoFunctionError, RigError
from dryspin.recording import Signal

from ..small_firmware import BOW_THRUSTER, PARTS, START_UP_CYCLES, scenario

HEADER = """
    #ifndef UNDER_TEST_H
    #define UNDER_TEST_H
    #include "drive_port.h"
    #include <stdbool.h>
    #include <stddef.h>
    #include <math.h>
    #define LENGTH (2U + 1U)
    typedef enum { SLOW, FAST = 5 } pace;
    typedef struct {
        uint8_t kind; int16_t shift[LENGTH]; struct { uint32_t at; } inner;
    } __attribute__((aligned(4))) part;
    typedef struct part_list { const part *first; size_t count; } part_list;
    union either { uint32_t whole; uint8_t byte[4]; };

    uint8_t u8(uint8_t value);
    int8_t i8(int8_t value);
    int16_t i16(int16_t value);
    uint64_t u64(uint64_t value);
    int64_t i64(int64_t value);
    bool flag(bool value);
    char letter(char value);
    float half(float value);
    double twice(double value);
    pace quicker(pace now);
    part shifted(part given, int16_t by);
    union either swapped(union either given);
    uint32_t sum(const uint16_t *values, uint8_t count);
    uint32_t total_of(const part_list *list);
    void fill(uint8_t *bytes, uint8_t count);
    const part *constant_part(void);
    const uint8_t *nowhere(uint8_t which);
    uint8_t counted(void);
    int many(const char *format, ...);
    void each(void (*action)(uint8_t), uint8_t count);
    int promised(void);
    static inline uint8_t inlined(uint8_t value) { return (uint8_t)(value + 1U); }
    uint8_t nine(uint8_t a, uint16_t b, uint32_t c, int8_t d, int16_t e, int32_t f,
                 uint8_t g, uint16_t h, double i);

    void endless(void);
    void endless_empty(void);
    void asleep(void);
    void deep(void);
    uint8_t divide(uint8_t by);
    void bitten(void);
    uint16_t wraps(void);
    void wraps_counted(void);
    #endif
"""

SOURCE = """
    #include "under_test.h"
    #include "say.h"
    uint8_t u8(uint8_t value) { return value; }
    int8_t i8(int8_t value) { return value; }
    int16_t i16(int16_t value) { return value; }
    uint64_t u64(uint64_t value) { return value; }
    int64_t i64(int64_t value) { return value; }
    bool flag(bool value) { return !value; }
    char letter(char value) { return value; }
    float half(float value) { return value / 2.0F; }
    double twice(double value) { return value * 2.0; }
    pace quicker(pace now) { return now == SLOW ? FAST : now; }
    part shifted(part given, int16_t by)
    {
        for (unsigned k = 0; k < LENGTH; k++)
            given.shift[k] = (int16_t)(given.shift[k] + by);
        given.inner.at++;
        return given;
    }
    union either swapped(union either given)
    {
        union either turned = {.byte = {given.byte[3], given.byte[2], given.byte[1], given.byte[0]}};
        return turned;
    }
    uint32_t sum(const uint16_t *values, uint8_t count)
    {
        uint32_t all = 0;
        while (count-- > 0)
            all += *values++;
        return all;
    }
    uint32_t total_of(const part_list *list)
    {
        uint32_t all = 0;
        for (size_t k = 0; k < list->count; k++)
            all += list->first[k].kind;
        return all;
    }
    void fill(uint8_t *bytes, uint8_t count)
    {
        for (uint8_t k = 0; k < count; k++)
            bytes[k] = k; /* fills */
    }
    static const part constant = {7, {1, 2, 3}, {9}};
    const part *constant_part(void) { return &constant; }
    const uint8_t *nowhere(uint8_t which) { return which ? (const uint8_t *)16 : 0; }
    static uint8_t counter = 40;
    __attribute__((noinline)) static uint8_t hidden(uint8_t value) /* static */
    {
        return (uint8_t)(value + counter);
    }
    uint8_t counted(void) { counter++; return hidden(0); }
    int undeclared(void);
    int undeclared(void) { return 1; } /* in no header */
    int many(const char *format, ...) { return format != 0; }
    void each(void (*action)(uint8_t), uint8_t count) { action(count); }
    uint8_t nine(uint8_t a, uint16_t b, uint32_t c, int8_t d, int16_t e, int32_t f,
                 uint8_t g, uint16_t h, double i)
    {
        return (uint8_t)(a + b + c + (uint8_t)d + (uint8_t)e + (uint32_t)f + g + h + (uint8_t)i);
    }
    static volatile uint8_t going = 1, steps;
    static volatile uint16_t seen;
    void endless(void) { while (going) steps++; /* endless */ }
    void endless_empty(void) { for (;;) {} }
    void asleep(void) { port_idle(); }
    static int deeper(int n) { volatile int here[64]; here[n & 63] = n; return deeper(n + 1) + here[0]; }
    void deep(void) { steps = (uint8_t)deeper(0); }
    uint8_t divide(uint8_t by) { return (uint8_t)(100 / by); /* divides */ }
    void bitten(void) { port_watchdog_on(0); for (;;) port_ticks(); }
    void on_wrap(void) { seen++; }
    uint16_t wraps(void) { return seen; }
    void wraps_counted(void) { port_wrap_interrupt(1); port_interrupts_restore(1); }
    int main(void) { SLEEP_FOREVER }
"""


TWO_SECONDS = scenario(2.0)
"""Nothing happens outside."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    """A firmware of functions, on the bow thruster's drive."""
    place = tmp_path_factory.mktemp("functions")
    (place / "under_test.h").write_text(dedent(HEADER))
    (place / "functions.c").write_text(dedent(SOURCE))
    for name, text in PARTS.items():
        (place / name).write_text(text)
    sheet = (BOW_THRUSTER / "drive.toml").read_text()
    (place / "drive.toml").write_text(sheet)
    return place


@pytest.fixture(scope="module")
def loaded(folder) -> CallableFirmware:
    """Built once."""
    return load_firmware(folder, scenario=TWO_SECONDS)


@pytest.fixture
def firmware(loaded) -> CallableFirmware:
    """As after power-on."""
    loaded.reset(TWO_SECONDS)
    return loaded


def line_of(folder: Path, marker: str) -> str:
    """ "functions.c:12" of the line that holds `marker`."""
    lines = (folder / "functions.c").read_text().splitlines()
    return f"functions.c:{1 + next(k for k, line in enumerate(lines) if marker in line)}"


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [
        ("u8", 0, 255),
        ("i8", -128, 127),
        ("i16", -(2**15), 2**15 - 1),
        ("u64", 0, 2**64 - 1),
        ("i64", -(2**63), 2**63 - 1),
        ("letter", -128, 127),
    ],
)
def test_integers_keep_their_whole_range_and_nothing_beyond_it(firmware, name, low, high):
    """C would cut the rest off without a word; ranges of C11 7.20.1.1, exact-width types."""
    function = getattr(firmware.call, name)

    assert (function(low), function(high)) == (low, high)
    for value in (low - 1, high + 1):
        with pytest.raises(CallError, match=rf"{name}\(\), value: {value} is outside \w+, {low} to {high}"):
            function(value)


@pytest.mark.parametrize("value", [1.0, "1", None, 1.5])
def test_what_is_no_whole_number_is_refused(firmware, value):
    """A fraction would be cut off."""
    with pytest.raises(CallError, match="is no whole number, as uint8_t asks for"):
        firmware.call.u8(value)


def test_floats_flags_and_enumerators(firmware):
    """Each in its own kind of register or width."""
    assert firmware.call.half(5) == 2.5
    assert firmware.call.twice(math.pi) == 2 * math.pi
    assert firmware.call.flag(False) is True
    assert firmware.call.quicker("SLOW") == 5
    assert firmware.call.quicker(5) == 5
    with pytest.raises(CallError, match="FASTER is none of SLOW, FAST"):
        firmware.call.quicker("FASTER")


def test_more_arguments_than_registers(firmware):
    """The calling convention passes six in registers; the compiler knows, we need not."""
    assert firmware.call.nine(1, 2, 3, 4, 5, 6, 7, 8, 9.0) == 45


def test_structs_go_in_and_come_out_by_value(firmware):
    """As a dict, a list, or the namespace a call has given."""
    once = firmware.call.shifted({"kind": 3, "shift": [1, 2, 3], "inner": {"at": 8}}, 10)

    assert once == SimpleNamespace(kind=3, shift=(11, 12, 13), inner=SimpleNamespace(at=9))
    assert firmware.call.shifted(once, -1).shift == (10, 11, 12)
    assert firmware.call.shifted([3, [1]], 0) == SimpleNamespace(
        kind=3, shift=(1, 0, 0), inner=SimpleNamespace(at=1)
    )
    assert firmware.call.swapped({"whole": 0x01020304}).whole == 0x04030201
    with pytest.raises(CallError, match=r"shifted\(\), given.shift\[1\]: 40000 is outside int16_t"):
        firmware.call.shifted({"shift": [0, 40000]}, 0)
    with pytest.raises(CallError, match="part has no size; it has kind, shift, inner"):
        firmware.call.shifted({"size": 1}, 0)


def test_values_are_lent_where_a_pointer_is_asked_for(firmware):
    """An array for a list, one element for a struct; nested pointers through an object."""
    parts = firmware.new("part[2]", [{"kind": 5}, {"kind": 6}])

    assert firmware.call.sum([1, 2, 65535], 3) == 65538
    assert firmware.call.total_of({"first": [{"kind": 1}, {"kind": 2}], "count": 2}) == 3
    assert firmware.call.total_of({"first": parts, "count": 2}) == 11
    with pytest.raises(CallError, match=r"sum\(\), values: points to uint8_t, where uint16_t is asked for"):
        firmware.call.sum(firmware.new("uint8_t[2]"), 2)


def test_what_the_firmware_writes_stands_in_the_object(firmware):
    """Out parameters."""
    box = firmware.new("uint8_t[4]")
    firmware.call.fill(box, 4)

    assert box.value == (0, 1, 2, 3)


def test_writing_past_an_object_is_caught_at_the_byte(firmware, folder):
    """The fifth byte of four; without the guard it would be some other object's."""
    with pytest.raises(RigError) as raised:
        firmware.call.fill(firmware.new("uint8_t[4]"), 5)

    assert f"the firmware crashed at {line_of(folder, '/* fills */')} in fill()" in str(raised.value)


def test_pointers_from_the_firmware_are_read_safely(firmware):
    """A wild one raises an error instead of ending Python."""
    given = firmware.call.constant_part()

    assert isinstance(given, Pointer)
    assert given[0].shift == (1, 2, 3)
    assert firmware.call.nowhere(0) is None
    with pytest.raises(CallError, match="0x10 that the firmware has given leads to no readable memory"):
        firmware.call.nowhere(1)[0]


def test_state_stays_between_calls_and_reset_brings_back_the_loaded_one(firmware):
    """As between two calls of main()."""
    assert [firmware.call.counted(), firmware.call.counted()] == [41, 42]
    firmware.reset()

    assert firmware.call.counted() == 41


def test_functions_in_headers_can_be_called(firmware):
    """They are compiled into the caller, and we are one."""
    assert firmware.call.inlined(4) == 5


def test_what_cannot_be_called_says_why_and_what_to_do(firmware, folder):
    """File and line where there are any."""
    reasons = {
        "hidden": f"{line_of(folder, '/* static */')}: hidden() is static, so only functions.c can call it",
        "undeclared": f"{line_of(folder, '/* in no header */')}: undeclared() is declared in no header",
        "promised": "promised() is declared there, but no source of the firmware defines it",
        "many": "many() cannot be called from Python: it takes a variable number of arguments",
        "each": "each() cannot be called from Python: it deals in pointers to functions",
        "main": "main() never returns",
        "cuonted": "the firmware has no function cuonted(); did you mean counted?",
        "xyz": "the firmware has no function xyz(); dir(firmware.call) lists what there is",
    }
    for name, reason in reasons.items():
        with pytest.raises(NoFunctionError) as raised:
            getattr(firmware.call, name)
        assert reason in str(raised.value)
    assert not hasattr(firmware.call, "hidden")
    assert "counted" in dir(firmware.call)
    assert "hidden" not in dir(firmware.call)


def test_wrong_numbers_of_arguments_show_the_declaration(firmware):
    """So that nobody has to look it up."""
    with pytest.raises(CallError, match=r"u8\(\) takes 1 argument, 0 given; it is declared uint8_t u8"):
        firmware.call.u8()
    with pytest.raises(CallError, match="width is unknown"):
        firmware.call.u8(width=3)
    with pytest.raises(CallError, match="value is twice given"):
        firmware.call.u8(3, value=3)


FAULTS = {
    "divide(0)": ("an arithmetic fault", "/* divides */"),
    "endless()": ("does not end", "/* endless */"),
    "endless_empty()": ("does not end", "void endless_empty"),
    "deep()": ("the firmware's stack overflowed", "deeper(int n)"),
    "bitten()": ("the watchdog has restarted the controller 0.081", ""),
    "asleep()": ("did not return within the scenario's 2 s", ""),
}


@pytest.mark.parametrize("call", FAULTS)
def test_a_call_that_goes_wrong_names_the_place_and_python_lives_on(firmware, folder, call):
    """65 ms of start-up and 16 ms until the watchdog bites."""
    what, marker = FAULTS[call]
    with pytest.raises(RigError) as raised:
        eval(f"firmware.call.{call}")

    assert str(raised.value).startswith(f"{call}: ")
    assert what in str(raised.value)
    if marker:
        assert line_of(folder, marker) in str(raised.value)
    with pytest.raises(CallError, match="begin anew with reset"):
        firmware.call.u8(1)
    firmware.reset()
    assert firmware.call.u8(1) == 1


def test_handlers_run_while_time_passes(firmware):
    """The count wraps every 32.768 ms (65536 ticks of 8 cycles at 16 MHz), from the start-up on."""
    firmware.call.wraps_counted()
    firmware.wait(ms=100.0)

    assert firmware.call.wraps() == 3
    assert firmware.now_s == pytest.approx(0.165, abs=1e-5)


def test_what_is_due_when_a_wait_begins_runs_at_once(firmware):
    """A flag that rose with interrupts off: one instruction after they are on, its handler begins."""
    firmware.call.port_wrap_interrupt(1)
    firmware.wait(ms=40.0)
    firmware.call.port_interrupts_restore(1)
    on_s = firmware.now_s
    firmware.wait(ms=0.2)
    recording = firmware.recording()
    cycles, running, _ = recording.of(Signal.HANDLER)

    assert firmware.call.wraps() == 1
    assert 0.0 <= float(recording.seconds(cycles[running > 0][0])) - on_s < 2e-6


def test_port_functions_act_and_are_recorded(firmware):
    """The seam's own, as the firmware calls them."""
    firmware.call.port_leg(1, 2)
    firmware.call.port_store_write(3, 0x5A)
    firmware.wait(ms=4.0)

    cycles, values, _ = firmware.recording().of(Signal.LEG_V)
    assert list(values) == [0, 2]
    assert cycles[-1] == START_UP_CYCLES + 6
    assert firmware.store[3] == 0x5A
    assert firmware.call.port_store_read(3) == 0x5A


def test_the_scenario_goes_on_outside(firmware):
    """Pulses reach the throttle pin while a call waits."""
    firmware.reset(scenario(1.0, throttle_us=((0.0, 1500.0),)))
    levels = set()
    for _ in range(40):
        firmware.wait(ms=1.0)
        levels.add(firmware.call.port_throttle_level())

    assert levels == {0, 1}


def test_a_second_loading_takes_the_firmware_over(firmware, folder):
    """Variables are there once; an old handle must not act on the new one's."""
    later = load_firmware(folder)
    later.call.counted()
    with pytest.raises(CallError, match="was loaded again since"):
        firmware.call.counted()
    firmware.reset()

    assert firmware.call.counted() == 41


def test_a_header_that_cannot_be_read_is_named_with_its_line(folder, tmp_path):
    """The parser's own words, and where."""
    for path in folder.iterdir():
        if path.is_file():
            (tmp_path / path.name).write_text(path.read_text())
    (tmp_path / "odd.h").write_text("int fine(void);\nunknown_type strange(void);\n")
    with pytest.raises(CallError, match=r"odd\.h:2:\d+: .*the C parser stops there"):
        load_firmware(tmp_path)
