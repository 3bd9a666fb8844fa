"""Faults of the C in firmware written for registers: found, each at its line, and nothing else is."""

from dataclasses import replace

import pytest

from dryspin.build import Compiler, build_image
from dryspin.drive import load_drive
from dryspin.drive.model import Shared
from dryspin.faults import Fault, Inspector
from dryspin.recording import Signal
from dryspin.registers import free_of_checks
from dryspin.rig import Rig

from ..faults.seeded_faults import BUILDS, compiler
from ..small_firmware import Told, scenario
from .conftest import RegisterBench
from .seeded_examples import ALL, EXAMPLES, RACES, TORN_SKETCH, unlike


def inspected(
    bench: RegisterBench, text: str, compiler: Compiler | None = None, shared: tuple[Shared, ...] = ()
) -> Inspector:
    """The checked build of a main.c, plain code at 6 cycles a block."""
    bench.image(text)
    drive = replace(
        bench.drive,
        firmware=replace(bench.drive.firmware, sources=("main.c",)),
        controller=replace(bench.drive.controller, block_cycles=6),
        shared=shared,
    )
    return Inspector(drive, bench.folder, compiler)


@pytest.mark.slow
@pytest.mark.parametrize("build", BUILDS, ids=lambda build: " ".join(build))
@pytest.mark.parametrize("name", ALL)
def test_every_sown_fault_is_found_at_its_line_and_nothing_else(
    name: str, build: tuple[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """In C++ and in a sketch; both compilers, with and without optimisation."""
    code = ALL[name].code(compiler(*build, monkeypatch))

    assert unlike(code, ALL[name]) == ([], set())


def test_races_of_a_sketch_name_its_own_lines() -> None:
    """Not those of the C++ that it is compiled as; the handler is the function that the sketch attached."""
    code = TORN_SKETCH.code()

    assert unlike(code, TORN_SKETCH) == ([], set())
    assert {fault.against.function for fault in code.open_faults if fault.against} == {"stickChanged"}


def test_a_handler_is_named_by_its_vector() -> None:
    """As the source does, and not by the number that the macro makes of it."""
    faults = RACES.code().open_faults

    assert {str(f.against).partition(" in ")[2] for f in faults if f.variable == "width"} == {
        "TIMER1_CAPT_vect()"
    }


def test_a_variable_that_the_drive_explains_is_no_fault_at_register_level(bench: RegisterBench) -> None:
    """[[shared]] is read as behind the seam."""
    text = """
        static volatile uint16_t n;
        ISR(TIMER0_OVF_vect) { n++; }
        int main(void) { TIMSK0 = 1; TCCR0B = 1; sei(); for (;;) say(n); }
    """
    inspector = inspected(bench, text, shared=(Shared("n", "read again until two readings agree"),))
    code = inspector.judge(inspector.evidence([scenario(0.1)]))

    assert [(fault.kind, fault.variable) for fault in code.faults] == [("torn read", "n")]
    assert code.open_faults == ()


GUARDS = """
    static volatile uint16_t by_flag, by_status, by_mask, copied[2];
    static volatile uint8_t ready;
    ISR(TIMER0_OVF_vect) { by_flag++; by_status++; by_mask++; copied[0]++; ready = 1; }
    int main(void)
    {
        uint16_t local[2];
        TIMSK0 = 1; TCCR0B = 1; sei();
        for (;;) {
            cli(); say(by_flag); sei();
            uint8_t status = SREG; cli(); uint16_t n = by_status; SREG = status; say(n);
            TIMSK0 = 0; say(by_mask); TIMSK0 = 1;
            TIMSK0 = 0; __builtin_memcpy(local, (void *)copied, sizeof local); TIMSK0 = 1;
            say(local[0]);
            if (ready)
                ready = 0;
        }
    }
"""


@pytest.mark.parametrize("name", ["gcc", "clang"])
def test_what_is_guarded_by_registers_is_no_race(
    bench: RegisterBench, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """cli and sei, SREG put back, the one interrupt off in its mask: in force at the access behind it."""
    inspector = inspected(bench, GUARDS, compiler=compiler(name, "-O1", monkeypatch))

    assert inspector.judge(inspector.evidence([scenario(0.1)])).faults == ()


def test_a_read_torn_on_purpose_gives_a_value_that_was_never_written(bench: RegisterBench) -> None:
    """0x00FF becomes 0x0100 between the bytes."""
    text = """
        static volatile uint16_t width = 0x00FF;
        ISR(TIMER0_OVF_vect) { width = width == 0x00FF ? 0x0100 : 0x00FF; }
        int main(void)
        {
            TIMSK0 = 1; TCCR0B = 1; sei();
            for (;;) {
                uint16_t got = width;
                if (got != 0x00FF && got != 0x0100) say(got);
            }
        }
    """
    inspector = inspected(bench, text)
    code = inspector.judge(inspector.evidence([scenario(0.1)]))
    fault: Fault = next(fault for fault in code.faults if fault.kind == "torn read")
    recording, torn = inspector.torn(scenario(0.1), fault)

    assert torn is not None
    assert (torn.before, torn.between, torn.after) == (0x00FF, 0x01FF, 0x0100)
    assert Told(recording).numbers == [0x01FF]


@pytest.mark.parametrize("name", ["polling_sketch", "two_way_interrupts"])
def test_the_checked_build_says_and_does_what_the_plain_build_does(name: str) -> None:
    """A check inside plain code is no block of its own: the same marks in the same order, and the same speed
    within 1 %. Where gcc makes several conditions of one check, as for a shift, some microseconds remain."""
    folder = EXAMPLES / name
    drive = load_drive(folder)
    seeded = TORN_SKETCH if name == "polling_sketch" else RACES
    plain = Rig(build_image(drive, folder), drive).run(seeded.scenario)
    checked = Inspector(drive, folder)._rig.run(seeded.scenario)

    assert list(checked.of(Signal.MARK)[1]) == list(plain.of(Signal.MARK)[1])
    assert checked.states["w_rad_s"][-1] == pytest.approx(plain.states["w_rad_s"][-1], rel=0.01)


def test_only_blocks_that_a_check_has_made_cost_no_time() -> None:
    """The handler's block and the one behind the check; what stands between them and elsewhere counts."""
    text = (
        "f:\n\tcall\t__sanitizer_cov_trace_pc@PLT\n\tjo\t.L2\n.L3:\n"
        "\tcall\t__sanitizer_cov_trace_pc@PLT\n\tret\n.L2:\n.LVL4:\n"
        "\tcall\t__sanitizer_cov_trace_pc@PLT\n\tcall\t__ubsan_handle_add_overflow@PLT\n\tjmp\t.L3\n"
    )
    hooks = [line.split()[1] for line in free_of_checks(text).splitlines() if "call" in line]

    assert hooks == [
        "__sanitizer_cov_trace_pc@PLT",
        "dryspin_check@PLT",
        "dryspin_check@PLT",
        "__ubsan_handle_add_overflow@PLT",
    ]


@pytest.mark.parametrize(
    ("handler", "main", "line"),
    [
        ("while (n < 100) { }", "for (;;) { }", "ISR"),
        ("for (;;) { }", "for (;;) { }", "ISR"),
        ("n++;", "while (n < 3) { } cli(); while (n < 100) { } for (;;) { }", "int main"),
    ],
)
def test_a_loop_that_only_a_reset_leaves_is_a_hang(
    bench: RegisterBench, handler: str, main: str, line: str
) -> None:
    """With block_cycles, too, where time goes on in it: interrupts are off, and no register is touched."""
    from dryspin.errors import FirmwareError

    text = (
        f"static volatile uint8_t n;\nISR(TIMER0_OVF_vect) {{ {handler} }}\n"
        f"int main(void) {{ TIMSK0 = 1; TCCR0B = 1; sei(); {main} }}\n"
    )
    image = bench.image(text)
    place = 1 + next(
        k for k, each in enumerate(bench.sources["main.c"].splitlines()) if each.startswith(line)
    )
    with pytest.raises(FirmwareError) as raised:
        Rig(image, bench.drive).run(scenario(1.0), block_cycles=6)

    assert (raised.value.kind, raised.value.line) == ("hang", f"main.c:{place}")
    assert "touches no register" in raised.value.text


def test_a_wait_counted_in_plain_code_and_a_program_stopped_for_good_are_no_hangs(
    bench: RegisterBench,
) -> None:
    """65536 rounds with interrupts off, and cli(); for (;;) { }: both are written on purpose."""
    text = """
        int main(void)
        {
            for (volatile uint16_t k = 1; k != 0; k++) { }
            say(1);
            stop();
        }
    """
    assert Told(bench.run(text, 1.0, block_cycles=6)).numbers == [1]
