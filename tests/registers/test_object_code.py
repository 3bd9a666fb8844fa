"""Firmware written for registers, charged by its object code: hand counts of small programs.

Hand counts: AVR Instruction Set Manual, Microchip DS40002198, "Instruction Set Summary", column AVRe (from
memory): lds, sts, push, pop, sbi, cbi 2; in, out, ldi, eor, add, ori 1; reti 4. The response to an interrupt
takes 4 cycles and the jump in the vector table 3 (data sheet 8271H, section 7.7.1).
"""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from dryspin.build import build_image
from dryspin.cli.command import exit_code
from dryspin.drive import load_drive
from dryspin.errors import TargetError
from dryspin.recording import Recording, Signal
from dryspin.rig import Rig
from dryspin.target import code_costs
from dryspin.target.accesses import told_apart
from dryspin.target.instructions import parse

from ..small_firmware import BOW_THRUSTER, Told, scenario
from .conftest import RegisterBench

TWO_WAYS = BOW_THRUSTER.parent / "two_way_interrupts"
SKETCH = BOW_THRUSTER.parent / "polling_sketch"

STRAIGHT = """
static volatile uint8_t a, b;
int main(void)
{
    GPIOR2 = 1;
    a = b;
    a = (uint8_t)(a + b);
    TIMSK1 |= 6;
    PORTB |= 1 << 1;
    GPIOR2 = 2;
    stop();
}
"""
STRAIGHT_CYCLES = 4 + 7 + 5 + 2 + 2
"""lds sts; lds lds add sts; lds ori sts; sbi; ldi out."""

HANDLER = """
static volatile uint8_t a;
ISR(TIMER0_OVF_vect)
{
    a = 3;
}
int main(void)
{
    TIMSK0 = 1;
    TCCR0B = 1;
    sei();
    for (;;) { }
}
"""


def charged(bench: RegisterBench, factor: float = 1.0) -> RegisterBench:
    """The same bench, code charged by the part's."""
    controller = replace(bench.drive.controller, code_cycles="object code", code_cycles_factor=factor)
    return RegisterBench(bench.folder, replace(bench.drive, controller=controller))


def run(bench: RegisterBench, text: str, name: str = "main.c", end_s: float = 0.1) -> Recording:
    """As the drive says: `bench.run` asks for a flat cost."""
    return Rig(bench.image(text, name), bench.drive).run(scenario(end_s))


def between_marks(bench: RegisterBench, text: str, name: str = "main.c") -> int:
    """Cycles from mark 1 to mark 2."""
    told = Told(run(bench, text, name))
    return told.cycle_of(2) - told.cycle_of(1)


@pytest.mark.needs_avr
@pytest.mark.parametrize("name", ["main.c", "main.cpp"])
def test_straight_code_takes_its_hand_count(bench: RegisterBench, name: str) -> None:
    """Accesses to registers are in it once, though the virtual part charges them itself."""
    assert between_marks(charged(bench), STRAIGHT, name) == STRAIGHT_CYCLES


@pytest.mark.needs_avr
def test_a_handler_takes_what_its_own_code_saves(bench: RegisterBench) -> None:
    """Entry 7; push r1, r0, in, push, eor, push r24; ldi, sts; pops, out; reti. No routine around it."""
    cycles, vectors, _ = run(charged(bench), HANDLER).of(Signal.HANDLER)

    assert list(vectors[:2]) == [17, 0]
    assert cycles[1] - cycles[0] == 7 + (2 + 2 + 1 + 2 + 1 + 2) + (1 + 2) + (2 + 2 + 1 + 2 + 2) + 4


@pytest.mark.needs_avr
@pytest.mark.parametrize("wait", ["_delay_us(50)", "__builtin_avr_delay_cycles(800)"])
def test_a_wait_takes_as_long_as_it_says_and_no_longer(bench: RegisterBench, wait: str) -> None:
    """50 us of 16 MHz are 800 cycles; the loop that waits is not charged besides. ldi, out for the mark."""
    text = f"#include <util/delay.h>\nint main(void)\n{{\nGPIOR2 = 1;\n{wait};\nGPIOR2 = 2;\nstop();\n}}\n"

    assert between_marks(charged(bench), text) == 800 + 2


@pytest.mark.needs_avr
def test_a_factor_leaves_accesses_and_waits_as_they_are(bench: RegisterBench) -> None:
    """Only plain code is an estimate: lds and sts of TIMSK1, sbi, out are accesses."""
    accesses = 4 + 2 + 1
    seen = between_marks(charged(bench, 2.0), STRAIGHT)

    assert seen == accesses + 2 * (STRAIGHT_CYCLES - accesses)


@pytest.mark.needs_avr
def test_the_same_run_comes_to_the_same_bits(bench: RegisterBench) -> None:
    """From power-on, and from a checkpoint in the middle of it."""
    own = charged(bench)
    rig = Rig(own.image(HANDLER), own.drive)
    digests = {rig.run(scenario(0.1)).digest() for _ in range(2)}
    digests.add(rig.resume(rig.checkpoint(scenario(0.1), 0.08)).digest())

    assert len(digests) == 1


@pytest.mark.needs_avr
def test_the_longest_stretch_without_interrupts_names_the_line_of_cli(bench: RegisterBench) -> None:
    """cli to sei: 1000 cycles of waiting, and sei itself."""
    text = """
    #include <util/delay.h>
    int main(void)
    {
        sei();
        GPIOR0 = 1;
        GPIOR0 = 1;
        cli(); /* here */
        __builtin_avr_delay_cycles(1000);
        sei();
        GPIOR0 = 2;
        for (;;) { }
    }
    """
    own = charged(bench)
    rig = Rig(own.image(text), own.drive)
    rig.run(scenario(0.1))
    line = 1 + next(k for k, row in enumerate(own.sources["main.c"].splitlines()) if "/* here */" in row)

    assert rig.longest_without_interrupts().line == f"main.c:{line}"
    assert rig.longest_without_interrupts().cycles == 1000 + 1


@pytest.mark.needs_avr
def test_every_stretch_of_the_two_way_firmware_is_charged(tmp_path: Path) -> None:
    """In C++ with namespaces and inline functions; nothing in it loops without a known count."""
    drive = load_drive(TWO_WAYS)
    drive = replace(drive, controller=replace(drive.controller, code_cycles="object code"))
    costs = code_costs(drive, build_image(drive, TWO_WAYS))

    assert costs.cycles.min() >= 0.0
    assert costs.cycles.sum() > 1000.0
    assert costs.assumed == ()


@pytest.mark.needs_avr
def test_what_the_parts_compiler_refuses_is_told_with_its_line(bench: RegisterBench) -> None:
    """An array of 40 000 bytes is too large where int has 16 bits, not on the host."""
    own = charged(bench)
    image = own.image(STRAIGHT.replace("a, b;", "a, b, c[40000];"))
    line = 1 + next(k for k, row in enumerate(own.sources["main.c"].splitlines()) if "c[40000]" in row)

    with pytest.raises(TargetError, match=rf"^main\.c:{line}: avr-gcc refuses for the part"):
        code_costs(own.drive, image)


def test_a_register_behind_a_pointer_is_known_where_its_address_is_loaded() -> None:
    """Z = 0x0080 is TCCR1A, which the virtual part charges; 0x0180 a variable; a computed Z is unknown."""
    text = (
        "  10:\te0 e8 \tldi\tr30, 0x80\n  12:\tf0 e0 \tldi\tr31, 0x00\n  14:\t80 81 \tld\tr24, Z\n"
        "  16:\tf1 e0 \tldi\tr31, 0x01\n  18:\t80 83 \tst\tZ, r24\n  1a:\tfc 01 \tmovw\tr30, r24\n"
        "  1c:\t80 81 \tld\tr24, Z\n  1e:\t81 e0 \tldi\tr24, 0x01\n  20:\t0f b6 \tin\tr0, 0x3f\n"
        "  22:\t1f b6 \tin\tr1, 0x3f\n  24:\t18 95 \treti\n"
    )

    assert told_apart(parse(text), frozenset({0x10})) == {0x14: 2, 0x22: 1, 0x24: 4}


SHORT = """\
dryspin_scenario = 1
seed = 3
end_s = 1.9
rest_deg = 210.0
frame_ms = 20.0
throttle_us = [[0.0, {neutral}], [0.7, 1900.0]]
"""


def timed(
    directory: Path, neutral: float, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> dict[str, Any]:
    """What `dryspin timing --json` tells of a short run."""
    story = tmp_path / "ahead.toml"
    story.write_text(SHORT.format(neutral=neutral), encoding="utf-8")
    assert exit_code(["timing", str(directory), str(story), "--factors", "1", "--json"]) in (0, 1)
    told: dict[str, Any] = json.loads(capsys.readouterr().out)
    return told


@pytest.mark.needs_avr
@pytest.mark.slow
def test_timing_names_the_vectors_of_firmware_written_for_registers(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A step's reaction: from the comparator's handler to that of compare A. Stack is by their own frames."""
    told = timed(TWO_WAYS, 1500.0, tmp_path, capsys)
    handlers = {each["handler"]: each for each in told["handlers"]}
    steps = told["steps"]

    assert set(handlers) == {
        "TIMER1_CAPT_vect", "TIMER1_COMPA_vect", "TIMER1_COMPB_vect", "TIMER1_OVF_vect", "ANALOG_COMP_vect",
    }  # fmt: skip
    assert steps["work_limit_rpm"] == pytest.approx(10 * 16e6 / (7 * steps["work_cycles"]))
    assert steps["reaction_cycles"] > handlers["ANALOG_COMP_vect"]["mean_cycles"]
    assert told["interrupts_off"]["handler"] in handlers
    assert {each["handlers"][0] for each in told["memory"]["nested"]} == set(handlers)
    assert all(each["stack_bytes"] > told["memory"]["main_bytes"] for each in told["memory"]["nested"])


@pytest.mark.needs_avr
@pytest.mark.slow
def test_timing_says_so_where_the_main_line_commutates(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A sketch that polls: its handlers are those of the functions it calls, and no step is theirs."""
    told = timed(SKETCH, 1000.0, tmp_path, capsys)

    assert {each["handler"] for each in told["handlers"]} == {"INT0_vect", "TIMER0_OVF_vect"}
    assert told["steps"] is None
    assert told["factors"][0]["commutations"] > 0
