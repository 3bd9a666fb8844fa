"""What `dryspin timing` measures: handlers, what interrupted what, interrupts off, steps, stack."""

import json
from pathlib import Path

import numpy as np
import pytest

from dryspin.cli.command import exit_code
from dryspin.findings import BROKEN, HELD, NOT_EXERCISED, Outcome, Trial
from dryspin.lint.stack import VECTOR_BYTES, stack_use
from dryspin.lint.target import compile_for_part
from dryspin.recording import STATE, Recording, Signal
from dryspin.report.timing import sensitivity_lines
from dryspin.rig import Rig
from dryspin.timing import Sensitivity, full_stick
from dryspin.timing.handlers import HANDLERS, Call, calls_of, nestings, times_of
from dryspin.timing.steps import Lateness

from ..recording.samples import F_CPU_HZ, edges, scenario, thruster
from ..small_firmware import BOW_THRUSTER, Bench
from ..small_firmware import scenario as small_scenario

OFF = """\
#include "say.h"
int main(void)
{
    uint8_t k;
    port_interrupts_restore(1);
    (void)port_interrupts_off();
    for (k = 0; k < 10; k++) {
        (void)port_ticks();
    }
    port_interrupts_restore(1);
    SLEEP_FOREVER
}
"""

NESTED = """\
#include "say.h"
static volatile uint8_t sink;
void on_wrap(void)
{
    volatile uint8_t here[40];
    uint8_t k;
    here[sink] = sink;
    port_compare_a((uint16_t)(port_ticks() + 20U));
    port_compare_a_clear();
    port_compare_a_interrupt(1);
    port_interrupts_restore(1);
    for (k = 0; k < 100; k++) {
        (void)port_ticks();
    }
    sink = here[3];
}
void on_compare_a(void)
{
    port_compare_a_clear();
    port_compare_a_interrupt(0);
}
int main(void)
{
    port_wrap_interrupt(1);
    SLEEP_FOREVER
}
"""


def recording(*rows: tuple[int, Signal, int]) -> Recording:
    """Only edges."""
    return Recording(edges(*rows), np.zeros(0, STATE), F_CPU_HZ, 10_000, thruster(), scenario(), "d")


def test_a_handler_that_is_interrupted_owns_its_time_but_not_the_others() -> None:
    """Vector 12 from 100 to 300, vector 11 in it from 150 to 170; a reset cuts off the one that runs."""
    seen = recording(
        (100, Signal.HANDLER, 12),
        (150, Signal.HANDLER, 11),
        (170, Signal.HANDLER, 0),
        (300, Signal.HANDLER, 0),
        (400, Signal.HANDLER, 24),
        (450, Signal.RESET, 2),
        (500, Signal.HANDLER, 13),
        (510, Signal.HANDLER, 0),
    )
    calls = calls_of(seen)

    assert calls == [Call(12, 100, 300, 180), Call(11, 150, 170, 20, (12,)), Call(13, 500, 510, 10)]
    assert nestings(calls) == {(12,): 1, (12, 11): 1, (13,): 1}
    (eleven, twelve, thirteen) = times_of(calls, (100, 300), F_CPU_HZ)
    assert (eleven.at_top, twelve.at_top, thirteen.at_top) == (0.1, 0.9, 0.0)
    assert (HANDLERS[twelve.vector], twelve.longest, twelve.mean) == ("on_compare_a", 180, 180.0)


def test_the_longest_stretch_without_interrupts_names_who_turned_them_off(bench: Bench) -> None:
    """Ten looks at the ticks of 4 cycles, and 2 until they are on again (costs of drive_port.h)."""
    rig = bench.rig(OFF)
    rig.run(small_scenario(0.1), block_cycles=0)
    off = rig.longest_without_interrupts()

    assert (off.cycles, off.line) == (10 * 4 + 2, bench.place("port_interrupts_off"))


@pytest.mark.needs_avr
def test_a_nesting_of_the_run_takes_main_and_both_handlers_of_the_stack(bench: Bench, tmp_path: Path) -> None:
    """The wrap's handler turns interrupts on and is interrupted: the bound of one handler does not hold."""
    image = bench.image(NESTED)
    chains = nestings(calls_of(Rig(image, bench.drive).run(small_scenario(0.2), block_cycles=0)))
    assert image.text is not None
    folder = tmp_path / "part"
    folder.mkdir()
    stack = stack_use(compile_for_part(bench.drive, image.text, folder).objects, bench.drive)
    main, wrap, compare = (stack.deepest[name][0] for name in ("main", "on_wrap", "on_compare_a"))

    assert (14, 12) in chains
    assert wrap >= 40
    assert stack.nested(["on_wrap", "on_compare_a"]) == main + wrap + compare + 2 * VECTOR_BYTES
    assert stack.nested(["on_wrap", "on_compare_a"]) > stack.stack


SHORT = """\
dryspin_scenario = 1
seed = 3
end_s = 1.6
rest_deg = 210.0
frame_ms = 20.0
throttle_us = [[0.0, 1500.0], [0.8, 1900.0]]
"""


@pytest.mark.needs_avr
def test_the_speed_of_the_deadline_follows_from_the_cycles_of_a_step(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A step lasts 10 / (p n) s: 7 pole pairs at 16 MHz. Twice the cycles leave half the speed, roughly."""
    story = tmp_path / "ahead.toml"
    story.write_text(SHORT, encoding="utf-8")
    code = exit_code(["timing", str(BOW_THRUSTER), str(story), "--factors", "0.5,2", "--json"])
    told = json.loads(capsys.readouterr().out)
    steps = told["steps"]
    handlers = {each["handler"]: each for each in told["handlers"]}

    assert code in (0, 1)
    assert [each["factor"] for each in told["factors"]] == [0.5, 1.0, 2.0]
    assert steps["work_limit_rpm"] == pytest.approx(10 * 16e6 / (7 * steps["work_cycles"]))
    assert steps["reaction_limit_rpm"] == pytest.approx(5 * 16e6 / (7 * steps["reaction_cycles"]))
    assert steps["limit_rpm"] == min(steps["work_limit_rpm"], steps["reaction_limit_rpm"])
    # with twice the cycles it does not start
    slow, fast = (told["factors"][k]["steps"]["reaction_limit_rpm"] for k in (1, 0))
    assert 1.4 < fast / slow < 2.0
    late = told["factors"][1]
    if late["outside_commutation_angle"]:
        assert late["in_time_up_to_rpm"] == min(steps["limit_rpm"], late["slowest_outside_rpm"])
    else:
        assert late["in_time_up_to_rpm"] == steps["limit_rpm"]
    assert told["interrupts_off"]["longest_cycles"] >= max(h["longest_cycles"] for h in handlers.values())
    assert 0.2 < sum(each["share_at_top_speed"] for each in handlers.values()) < 1.0
    assert {tuple(each["handlers"]) for each in told["memory"]["nested"]} == {(name,) for name in handlers}
    assert told["memory"]["fits"]


@pytest.mark.parametrize("factors", ["2,", "0", "1,nan", "100"])
def test_a_factor_that_is_none_is_refused(factors: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Before anything is built."""
    assert exit_code(["timing", str(BOW_THRUSTER), "--factors", factors]) == 2
    assert "is no factor from 0.1 to 10" in capsys.readouterr().err


def test_full_stick_is_tried_at_both_ends_of_the_load() -> None:
    """A light propeller leaves a step the least time; a heavy one hides the crossing for longest."""
    drive = thruster()
    kq = drive.load.kq_nm_s2
    loads = [factor for given in full_stick(drive) for _, factor in given.load_factor]

    assert loads == pytest.approx([kq.low / kq.nominal, kq.high / kq.nominal])
    assert {v for given in full_stick(drive) for _, v in given.supply_v} == {drive.supply.v_v.high}


def test_a_claim_that_breaks_in_one_of_several_runs_is_one_that_is_broken() -> None:
    """Counted over all runs, not once for each."""
    light, heavy = (
        Trial((Outcome("a.b", status, margin), Outcome("a.c", HELD, 0.5), Outcome("a.d", NOT_EXERCISED)), 1.0)
        for status, margin in ((HELD, 0.2), (BROKEN, -0.1))
    )
    seen = Sensitivity(1.0, (light, heavy), None, Lateness(0, 0, None))

    assert sensitivity_lines((seen,)) == [
        "cycles x 1: 1 broken, 1 held, 1 not exercised",
        "   a.b: x 1 broken -0.1",
    ]
