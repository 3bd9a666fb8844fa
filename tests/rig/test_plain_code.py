"""Time of plain code, where the drive charges cycles per basic block."""

import pytest

from dryspin.build import find_compiler
from dryspin.errors import RigError

from ..small_firmware import Bench, Told, scenario

COUNTING = """
    #include "say.h"
    static volatile uint16_t n;
    int main(void)
    {
        uint16_t start = port_ticks();
        for (n = 0; n < 1000; n++) {}
        say((uint16_t)(port_ticks() - start));
        SLEEP_FOREVER
    }
"""


def test_plain_code_takes_no_time_at_block_cost_0(bench: Bench) -> None:
    """Only so is a digest the same for every compiler: they differ in their blocks."""
    # the two readings stand 4 cycles after main() began, in tick 0, and 8 after, in tick 1
    assert Told(bench.run(COUNTING)).numbers == [1]


@pytest.mark.parametrize("block_cycles", [4, 8])
def test_plain_code_takes_its_blocks_times_their_cost(bench: Bench, block_cycles: int) -> None:
    """A loop is one to three blocks a turn, whatever compiler and level."""
    (ticks,) = Told(bench.run(COUNTING, block_cycles=block_cycles)).numbers

    assert 1000 * block_cycles / 8 <= ticks <= 3.1 * 1000 * block_cycles / 8


WAITING = """
    #include "say.h"
    static volatile uint8_t done;
    void on_compare_a(void) { done = 1; }
    int main(void)
    {
        port_compare_a(10000);
        port_compare_a_interrupt(1);
        port_interrupts_restore(1);
        while (!done) {}
        say(port_ticks());
        SLEEP_FOREVER
    }
"""


def test_a_wait_for_a_flag_ends_when_its_handler_has_run(bench: Bench) -> None:
    """The handler comes at a block of the loop, within one block's cost of its moment."""
    (ticks,) = Told(bench.run(WAITING, block_cycles=4)).numbers

    assert 10_000 <= ticks <= 10_006


def test_the_same_blocks_are_the_same_bits_every_time(bench: Bench) -> None:
    """With a block cost a digest holds for one compiler and its flags, run after run."""
    rig = bench.rig(WAITING)
    digests = {rig.run(scenario(0.1), block_cycles=cost).digest() for cost in (4, 4, 4)}

    assert len(digests) == 1


def test_an_empty_loop_is_a_hang_even_with_a_block_cost_where_the_compiler_skips_it(bench: Bench) -> None:
    """gcc gives an empty loop no hook, and the error says so; clang hooks every loop."""
    rig = bench.rig(
        """
        #include "say.h"
        int main(void)
        {
            port_ticks();
            for (;;) {}
        }
    """
    )
    if find_compiler().is_clang:
        assert rig.run(scenario(0.1), block_cycles=4).end_s == 0.1
        return
    with pytest.raises(RigError, match="an empty loop, which has no block to charge"):
        rig.run(scenario(0.1), block_cycles=4)
