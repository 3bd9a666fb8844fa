"""The bow thruster built for the part: it fits, its vectors and fuses are the plan's, its step is short."""

import json
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from dryspin.drive import load_drive
from firmware_under_test.targets.errors import TargetError
from firmware_under_test.targets.image import Image
from firmware_under_test.targets.measure import (
    Check,
    Measures,
    measure,
    no_load_rpm,
    shortest_step_cycles,
)
from firmware_under_test.targets.report import as_json, text
from firmware_under_test.targets.toolchain import HERE, SEAM, Program, build

ROOT = Path(__file__).parents[2]
THRUSTER = ROOT / "firmware_under_test" / "bow_thruster"
PAGE = HERE / "README.md"


@pytest.fixture(scope="session")
def program(tmp_path_factory: pytest.TempPathFactory) -> Program:
    """The shipped firmware, built once."""
    return build(load_drive(THRUSTER), THRUSTER, tmp_path_factory.mktemp("target"))


@pytest.fixture(scope="session")
def measures(program: Program) -> Measures:
    """Its measures, against the shipped drive."""
    return measure(program, THRUSTER, [load_drive(THRUSTER)])


def check(measures: Measures, name: str) -> Check:
    """The check whose name begins so."""
    return next(check for check in measures.checks if check.name.startswith(name))


@pytest.mark.needs_avr
def test_flash_and_ram_suffice(measures: Measures) -> None:
    """16 KiB and 1 KiB: data sheet of the ATmega48/88/168, section "Features" (from memory)."""
    assert check(measures, "flash").limit == 16384
    assert check(measures, "RAM").limit == 1024
    assert check(measures, "flash").held
    assert check(measures, "RAM").held
    assert check(measures, "RAM").seen == measures.static_bytes + measures.stack_bytes


@pytest.mark.needs_avr
def test_flash_is_what_the_linker_puts_there(program: Program, measures: Measures) -> None:
    """The other of two ways: the bytes that a programmer would write, copied out of the program."""
    flash = program.folder / "flash.bin"
    subprocess.run(
        ["avr-objcopy", "-O", "binary", "-j", ".text", "-j", ".data", str(program.elf), str(flash)],
        check=True,
    )

    assert measures.flash_bytes == flash.stat().st_size


@pytest.mark.needs_avr
def test_a_step_leaves_half_of_the_shortest_one(measures: Measures) -> None:
    """The other half is the main line's, the throttle's and the blanking's."""
    assert check(measures, "work of a step").held


@pytest.mark.needs_avr
def test_nothing_divides_converts_or_stores_in_a_step(measures: Measures) -> None:
    """A quotient takes hundreds of cycles, a conversion blinds the comparator, a store write is slow."""
    assert measures.objections == ()


@pytest.mark.needs_avr
def test_vectors_are_those_of_the_pin_plan(program: Program) -> None:
    """The plan counts from 1, reset, as the data sheet does; a vector takes two words."""
    plan = (SEAM / "pin_plan.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| (\d+) \| [^|]+ \| `(on_\w+)` \|$", plan, re.MULTILINE)
    image = Image(program.elf)
    at = {
        image.name(image.instructions[4 * number].target): number + 1
        for number in range(1, 26)
        if image.instructions[4 * number].target != image.symbols["__bad_interrupt"]
    }

    assert at == {name: int(number) for number, name in rows}
    assert list(image.handlers) == [name for _, name in rows]


@pytest.mark.needs_avr
def test_fuses_are_those_of_the_page(measures: Measures) -> None:
    """CKSEL 0111 and SUT 11; BODLEVEL 100, 4.3 V; no boot loader: read back from the program."""
    low, high, extended = measures.fuses
    page = PAGE.read_text(encoding="utf-8")

    assert low == 0b1111_0111
    assert high == 0b1101_1100
    assert extended == 0b1111_1001
    for name, value in (("low", low), ("high", high), ("extended", extended)):
        assert re.search(rf"^\| {name} \| `{value:#04x}` \|", page, re.MULTILINE), name


def before_data(program: Program) -> list[str]:
    """The instructions from the reset vector's target to where .data is filled."""
    image = Image(program.elf)
    early = range(image.symbols["__ctors_end"], image.symbols["__do_copy_data"])
    code = [image.instructions[at] for at in early if at in image.instructions]
    return [f"{instruction.name} {', '.join(instruction.operands)}" for instruction in code]


@pytest.mark.needs_avr
def test_a_start_without_a_reset_lets_the_legs_go_before_it_waits_for_one(program: Program) -> None:
    """Bits of PORTB and PORTD (I/O 0x05, 0x0B) go first: a pin let go (DDRB, DDRD: 0x04, 0x0A) with its bit
    set is pulled up, and with it a gate. The watchdog comes last."""
    code = before_data(program)
    order = [code.index(f"out {at}, r1") for at in ("0x05", "0x0b", "0x04", "0x0a")]
    watchdog = next(k for k, line in enumerate(code) if line.startswith("sts 0x0060"))

    assert order == sorted(order)
    assert order[-1] < watchdog


@pytest.mark.needs_avr
def test_the_reset_cause_is_taken_before_the_watchdog_is_turned_off(program: Program) -> None:
    """Data sheet, section "Watchdog Timer" (from memory): WDRF overrides WDE, so it is cleared first. MCUSR
    is I/O 0x34, WDTCSR data address 0x60, GPIOR1 I/O 0x2A; all of it lies before .data is filled."""
    code = before_data(program)
    first = next(k for k, line in enumerate(code) if re.fullmatch(r"in r\d+, 0x34", line))
    cleared = code.index("out 0x34, r1")
    watchdog = next(k for k, line in enumerate(code) if line.startswith("sts 0x0060"))

    assert first < cleared < watchdog
    assert any(re.fullmatch(r"out 0x2a, r\d+", line) for line in code[first:cleared])


@pytest.mark.needs_avr
def test_static_memory_and_stack_lie_apart(program: Program, measures: Measures) -> None:
    """RAM ends at 0x4FF (avr-libc's RAMEND); from the end of .bss to there must hold the worst stack."""
    end = Image(program.elf).symbols["_end"] & 0xFFFF

    assert end - 0x100 == measures.static_bytes
    assert end + measures.stack_bytes <= 0x500


def test_the_shortest_step_is_that_of_the_highest_supply() -> None:
    """By hand: 12.6 V x 1050 rpm/V = 13 230 rpm; 7 pole pairs, six steps: 10 / (7 x 13 230) s = 108.0 us."""
    drive = load_drive(THRUSTER)

    assert no_load_rpm(drive) == pytest.approx(13_230)
    assert shortest_step_cycles(drive) == pytest.approx(107.98e-6 * 16e6, rel=1e-4)


@pytest.mark.needs_avr
def test_table_and_json_tell_the_same(measures: Measures) -> None:
    """One for people, one for programs."""
    document = json.loads(as_json(measures))
    table = text(measures)

    assert document["held"] is measures.held
    for one in document["checks"]:
        verdict = "held" if one["held"] else "broken"
        assert re.search(
            rf"^{verdict} +{re.escape(one['name'])} +{one['seen']} of +{one['limit']} {one['unit']}$",
            table,
            re.MULTILINE,
        )
    assert [handler["name"] for handler in document["handlers"]] == [h.name for h in measures.handlers]


def test_a_limit_is_sharp() -> None:
    """The limit itself is still allowed, one more is not."""
    assert Check("flash", 16384, 16384, "bytes").held
    assert not Check("flash", 16385, 16384, "bytes").held


def run(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    """The command, run by this interpreter."""
    return subprocess.run(
        [sys.executable, "-m", "firmware_under_test.targets", *arguments],
        cwd=ROOT,
        capture_output=True,
        text=True,
        env={"PYTHONPATH": str(ROOT / "harness"), "PATH": "/usr/bin:/bin", **environment},
        check=False,
    )


@pytest.mark.needs_avr
def test_the_command_exits_with_one_for_a_broken_limit(measures: Measures) -> None:
    """A laboratory supply of 20 V leaves 544 cycles: by hand, 16e6 x 10 / (7 x 21 000) / 2."""
    done = run("--drive", str(THRUSTER / "drive.toml"), "--drive", str(THRUSTER / "drive_lab_supply.toml"))

    assert done.returncode == 1, done.stderr
    assert re.search(
        r"^broken +work of a step, drive_lab_supply.toml +\d+ of +544 cycles$", done.stdout, re.M
    )
    assert f"{measures.step.cycles} of" in done.stdout


def test_without_the_compiler_the_command_says_what_to_install() -> None:
    """Two, as for everything that keeps it from telling; no traceback."""
    done = run(PATH="/nowhere")

    assert done.returncode == 2
    assert done.stderr == "avr-gcc is not installed; apt-get install gcc-avr avr-libc binutils-avr\n"


@pytest.mark.needs_avr
def test_a_firmware_that_is_refused_is_told_in_the_compilers_words(tmp_path: Path) -> None:
    """A conversion that loses bits, which the part's compiler is asked to refuse."""
    (tmp_path / "drive.toml").write_text(f'[firmware]\nbase = "{THRUSTER}"\n', encoding="utf-8")
    (tmp_path / "clock.c").write_text("#include <drive_port.h>\nuint8_t f(uint16_t x);\n"
                                      "uint8_t f(uint16_t x) { return x; }\n", encoding="utf-8")  # fmt: skip
    done = run(str(tmp_path))

    assert done.returncode == 2
    assert "avr-gcc refuses the program for the atmega168:" in done.stderr
    assert "clock.c:3" in done.stderr
    assert "Traceback" not in done.stderr


def pins(page: Path) -> list[tuple[str, str]]:
    """Pin and function, from the table of pins in a page."""
    table = page.read_text(encoding="utf-8").split("## Pins")[1].split("## ")[0]
    return re.findall(r"^\| (P[^|]+) \| ([^|]+) \|", table, re.MULTILINE)


def test_the_page_lists_the_pins_of_the_plan() -> None:
    """Two pages for two readers, one board."""
    assert pins(PAGE) == pins(SEAM / "pin_plan.md")
    assert len(pins(PAGE)) > 15


@pytest.mark.needs_avr
def test_the_page_tells_todays_numbers(measures: Measures) -> None:
    """A difference that has been mended, or has grown, must not stand there as it was: within a twentieth."""
    page = " ".join(PAGE.read_text(encoding="utf-8").split())
    step, limit = measures.step, check(measures, "work of a step").limit
    told = {
        rf"less than half of the shortest one: (\d+) cycles of {limit}\.": step.cycles,
        r"about (\d+) go to the crossing": step.crossing_cycles,
        r"and (\d+) to the commutation": step.compare_cycles,
        r"another (\d+) to the look that ends the blanking": step.also_cycles["on_compare_b"],
        r"takes up to (\d+) cycles, some 4 us": step.to_bridge_cycles,
    }

    for pattern, cycles in told.items():
        found = re.search(pattern, page)
        assert found is not None, pattern
        assert int(found[1]) == pytest.approx(cycles, rel=0.05), pattern


def test_the_port_is_not_built_for_a_board_with_one_input_a_leg(tmp_path: Path) -> None:
    """Its pins for the low FETs would be taken for enables, and no leg would ever go high."""
    drive = load_drive(THRUSTER)
    other = replace(drive, bridge=replace(drive.bridge, chopping="complementary"))

    with pytest.raises(TargetError, match="drives each FET from a pin of its own"):
        build(other, THRUSTER, tmp_path)
