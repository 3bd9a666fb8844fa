"""Plain code charged by the part's object code: against hand counts, in runs, and without its compiler.

Hand counts: AVR Instruction Set Manual, Microchip DS40002198, "Instruction Set Summary", column AVRe (from
memory): lds, sts 2; add, ldi, dec 1; branch taken 2; call, ret 4.
"""

from dataclasses import replace
from pathlib import Path

import pytest

from dryspin.build import build_image, find_compiler
from dryspin.build.toolchain import compiler_of
from dryspin.drive import Drive, load_drive
from dryspin.drive.model import Firmware
from dryspin.errors import TargetError
from dryspin.recording import Recording, Signal, Vector
from dryspin.rig import Rig
from dryspin.target import code_costs
from dryspin.target.costs import VECTOR_IN_CYCLES, VECTOR_OUT_CYCLES
from dryspin.target.cycles import ASSUMED_PASSES, line_cycles
from dryspin.target.program import link_for_part, read_code

from ..small_firmware import BOW_THRUSTER, Bench, Told, scenario

MARK_CYCLES = 2
"""drive_port.h: cost of port_mark()."""

STRAIGHT = """\
#include "say.h"
static volatile uint8_t a, b;
static volatile uint16_t wide;
int main(void)
{
    port_mark(1);
    a = b;
    a = (uint8_t)(a + b);
    wide = wide;
    port_mark(2);
    SLEEP_FOREVER
}
"""

LOOP = """\
#include "say.h"
static volatile uint8_t a, b;
int main(void)
{
    uint8_t k;
    port_mark(1);
    for (k = 100U; k != 0U; k--) {
        a = b;
    }
    port_mark(2);
    SLEEP_FOREVER
}
"""

POLLING = """\
static __attribute__((noinline)) void poll_NUMBER(uint16_t all, uint16_t parts)
{
    count = 0U;
    port_mark(NUMBER);
    OUTER
    while (count < all / PARTS) {
        count = (uint16_t)(count + 1U);
    }
    port_mark(10U + NUMBER);
}
"""

POLLED = (
    ("", "parts", 1, 1),
    ("if (parts == 0U) { count = 1U; }", "parts", 1, 1),
    ("while (count != 0U) { }", "parts", 1, 1),
    ("for (uint8_t k = 0U; k < 4U; k++)", "(parts + k)", 4, 5),
)
"""What stands before the loop, what is divided by; divisions, fewest and most."""

CALLING = """\
#include "say.h"
static volatile uint16_t wide = 1000U;
static volatile uint16_t by = 7U;
int main(void)
{
    port_mark(1);
    wide = (uint16_t)(wide / by);
    port_mark(2);
    SLEEP_FOREVER
}
"""

HANDLER = """\
#include "say.h"
void on_wrap(void)
{
    port_mark(1);
}
int main(void)
{
    port_wrap_interrupt(1);
    SLEEP_FOREVER
}
"""

BUSY = """\
#include "say.h"
static volatile uint16_t wide = 1000U;
static volatile uint16_t by = 7U;
static uint16_t due;
void on_compare_b(void)
{
    due = (uint16_t)(due + 1003U);
    port_compare_b(due);
}
int main(void)
{
    port_compare_b_interrupt(1);
    port_interrupts_restore(1);
    for (;;)
        wide = (uint16_t)(wide / by);
}
"""


def charged(factor: float = 1.0) -> Drive:
    """The bow thruster's drive, for another firmware, its code charged by the part's."""
    drive = replace(load_drive(BOW_THRUSTER), firmware=Firmware(("*.c",), (".",), {}, ""), layers=())
    controller = replace(drive.controller, code_cycles="object code", code_cycles_factor=factor)
    return replace(drive, controller=controller)


def between_marks(folder: Path, text: str, factor: float = 1.0) -> int:
    """Cycles of main.c from mark 1 to mark 2, without the mark's own."""
    bench = Bench(folder, charged(factor))
    told = Told(bench_run(bench, text))
    return told.cycle_of(2) - told.cycle_of(1) - MARK_CYCLES


def bench_run(bench: Bench, text: str) -> Recording:
    """Run main.c as the drive says: `Bench.run` asks for a flat cost."""
    return Rig(bench.image(text), bench.drive).run(scenario(0.2))


@pytest.mark.needs_avr
def test_straight_code_takes_its_hand_count(tmp_path: Path) -> None:
    """lds sts; lds lds add sts; 2 lds, 2 sts; then ldi for the mark: 4 + 7 + 8 + 1. All but the mark's
    argument lies in lines of its own, so nothing is shared."""
    seen = between_marks(tmp_path / "f", STRAIGHT)

    assert seen == 4 + 7 + 8 + 1


@pytest.mark.needs_avr
def test_a_loop_takes_its_passes_times_the_hand_count(tmp_path: Path) -> None:
    """A pass: lds 2, sts 2, dec or subi 1, brne taken 2. Before it an ldi, behind it that of the mark.

    The condition, with its share of the line, is asked once more than the loop is passed.
    """
    seen = between_marks(tmp_path / "f", LOOP)

    assert abs(seen - (100 * 7 + 2)) <= 1


@pytest.mark.needs_avr
@pytest.mark.parametrize("compiler", ["gcc", "clang"])
def test_a_quotient_in_the_condition_of_a_loop_is_reckoned_before_it(tmp_path: Path, compiler: str) -> None:
    """The part's compiler divides once each time the loop is entered, not in each of 200 passes.

    A pass: lds lds cp cpc brcc; lds lds adiw sts sts rjmp, 2 cycles each but cp and cpc. brcc costs its
    dearer way in each. A division takes what it does in the test of the library; the rest is little. With a
    loop around it is charged with that loop's condition, asked once more than the loop is passed.
    """
    if (host := compiler_of((compiler,))) is None:
        pytest.skip(f"needs {compiler}: apt-get install {compiler}")
    text = '#include "say.h"\nstatic volatile uint16_t whole = 600U, by = 3U, count;\n'
    calls = ""
    for k, (outer, parts, _, _) in enumerate(POLLED, 1):
        text += POLLING.replace("NUMBER", str(k)).replace("OUTER", outer).replace("PARTS", parts)
        calls += f"poll_{k}(whole, by);\n"
    text += f"int main(void)\n{{\n{calls}SLEEP_FOREVER\n}}\n"
    bench = Bench(tmp_path / "f", charged())
    told = Told(Rig(bench.image(text, compiler=host), bench.drive).run(scenario(0.2)))

    for k, (_, _, fewest, most) in enumerate(POLLED, 1):
        seen = told.cycle_of(10 + k) - told.cycle_of(k) - MARK_CYCLES - 200 * 20
        assert fewest * 17 * 7 <= seen <= most * (17 * 16 + 60)


@pytest.mark.needs_avr
def test_a_division_takes_what_the_library_takes(tmp_path: Path) -> None:
    """__udivmodhi4 goes through its loop 17 times (from memory: 16 bits and the way in).

    Each at least 7 cycles: rol, rol, cp, cpc, branch, dec, branch.
    """
    seen = between_marks(tmp_path / "f", CALLING)

    assert 17 * 7 <= seen <= 17 * 16 + 60


@pytest.mark.needs_avr
def test_a_factor_multiplies_what_code_takes(tmp_path: Path) -> None:
    """Half and double of 20 cycles, to the rounding of a sixteenth of a cycle."""
    whole, half, double = (between_marks(tmp_path / f"f{f}", STRAIGHT, f) for f in (1.0, 0.5, 2.0))

    assert (half, double) == (whole // 2, whole * 2)


@pytest.mark.needs_avr
def test_a_handler_takes_the_registers_it_saves(tmp_path: Path) -> None:
    """Entry, the vector's pushes and call, ldi 1, the mark, ret, the vector's pops, reti."""
    recording = bench_run(Bench(tmp_path / "f", charged()), HANDLER)
    cycles, vectors, _ = recording.of(Signal.HANDLER)

    assert VECTOR_IN_CYCLES == 14 * 2 + 1 + 2 + 1 + 4
    assert VECTOR_OUT_CYCLES == 2 + 1 + 14 * 2
    assert list(vectors[:2]) == [14, 0]
    assert cycles[1] - cycles[0] == 7 + VECTOR_IN_CYCLES + 1 + MARK_CYCLES + 4 + VECTOR_OUT_CYCLES + 4


@pytest.mark.needs_avr
def test_a_handler_comes_between_the_instructions_of_a_stretch(tmp_path: Path) -> None:
    """Not behind it: each match calls its handler at once, in the midst of divisions of some 200 cycles."""
    cycles, vectors, _ = bench_run(Bench(tmp_path / "f", charged()), BUSY).of(Signal.HANDLER)
    begun = cycles[vectors == Vector.COMPARE_B]

    assert len(begun) > 100
    assert len(set((begun[1:] - begun[:-1])[2:].tolist())) == 1


@pytest.mark.needs_avr
def test_the_same_run_comes_to_the_same_bits(tmp_path: Path) -> None:
    """From power-on, and from a checkpoint in the middle of it."""
    bench = Bench(tmp_path / "f", charged())
    rig = Rig(bench.image(LOOP), bench.drive)
    given = scenario(0.2)
    digests = {rig.run(given).digest() for _ in range(3)}
    digests.add(rig.resume(rig.checkpoint(given, 0.1)).digest())

    assert len(digests) == 1


@pytest.mark.needs_avr
def test_a_flat_cost_that_is_asked_for_takes_the_place_of_object_code(tmp_path: Path) -> None:
    """Comparisons of builds run at block cost 0; there, plain code takes nothing."""
    bench = Bench(tmp_path / "f", charged())
    told = Told(Rig(bench.image(LOOP), bench.drive).run(scenario(0.2), block_cycles=0))

    assert told.cycle_of(2) - told.cycle_of(1) == MARK_CYCLES


@pytest.mark.needs_avr
def test_every_stretch_of_the_shipped_firmware_is_charged_once(tmp_path: Path) -> None:
    """What its lines take is shared among its stretches and neither lost nor doubled."""
    drive = load_drive(BOW_THRUSTER)
    drive = replace(drive, controller=charged().controller)
    image = build_image(drive, BOW_THRUSTER)
    costs = code_costs(drive, image)
    assert image.text is not None
    lines = line_cycles(read_code(link_for_part(drive, image.text, tmp_path)))

    whole = sum(lines.of_line.values()) + sum(lines.entering.values())
    assert costs.cycles.sum() == pytest.approx(whole, rel=1e-9)
    assert costs.assumed == ()


@pytest.mark.needs_avr
def test_a_loop_without_a_known_count_is_told(tmp_path: Path) -> None:
    """A shift by a variable loops inside its line."""
    text = STRAIGHT.replace("a = b;", "wide = (uint16_t)(wide << b);")
    bench = Bench(tmp_path / "f", charged())
    costs = code_costs(bench.drive, bench.image(text))

    assert costs.assumed == (bench.place("wide << b"),)
    assert ASSUMED_PASSES == 8


@pytest.mark.needs_avr
def test_a_counter_is_not_taken_from_the_function_before(tmp_path: Path) -> None:
    """A shift by an argument: the register it comes in was a constant at the end of the one before."""
    text = STRAIGHT.replace(
        "int main(void)",
        "uint8_t before(void);\nuint8_t before(void) { a = b; return 200; }\nuint8_t by(uint8_t n);\n"
        "uint8_t by(uint8_t n) { return (uint8_t)(1U << n); }\nint main(void)",
    )
    bench = Bench(tmp_path / "f", charged())
    costs = code_costs(bench.drive, bench.image(text))

    assert costs.assumed == (bench.place("1U << n"),)


@pytest.mark.needs_avr
def test_what_the_parts_compiler_refuses_is_told_with_its_line(tmp_path: Path) -> None:
    """An array of 40 000 bytes is too large where int has 16 bits, not on the host."""
    text = STRAIGHT.replace("static volatile uint8_t a, b;", "static volatile uint8_t a, b, c[40000];")
    bench = Bench(tmp_path / "f", charged())

    with pytest.raises(TargetError, match=r"^main\.c:2: avr-gcc refuses for the part"):
        code_costs(bench.drive, bench.image(text))


def test_without_the_parts_compiler_the_error_names_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing is charged silently by the block."""
    bench = Bench(tmp_path / "f", charged())
    rig = bench.rig(STRAIGHT)
    monkeypatch.setenv("PATH", str(tmp_path))

    with pytest.raises(TargetError) as caught:
        rig.run(scenario(0.2))

    assert str(caught.value) == (
        '[controller] code_cycles = "object code" needs avr-gcc, which is not installed: '
        'apt-get install gcc-avr avr-libc binutils-avr; or write "flat"'
    )


@pytest.mark.needs_avr
def test_the_host_compiler_changes_no_count_of_straight_code(tmp_path: Path) -> None:
    """Lines and not blocks carry the cycles: clang comes to the same."""
    if (clang := compiler_of(("clang",))) is None or find_compiler().is_clang:
        pytest.skip("needs clang beside gcc: apt-get install clang")
    bench = Bench(tmp_path / "f", charged())
    told = Told(Rig(bench.image(STRAIGHT, compiler=clang), bench.drive).run(scenario(0.2)))

    assert told.cycle_of(2) - told.cycle_of(1) - MARK_CYCLES == 4 + 7 + 8 + 1
