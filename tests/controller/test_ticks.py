"""The 16-bit timer: ticks, wrap, two compares.

Outside check: data sheets of the ATmega48/88/168 class, clauses named in the tests. A compare value
in the past costs a whole wrap, 65 536 ticks = 32.768 ms at 16 MHz and prescaler 8, by arithmetic.
"""

from itertools import pairwise

from ..small_firmware import START_UP_CYCLES, Bench, Told

WRAP_CYCLES = 65_536 * 8


def test_a_tick_is_8_cycles_and_counting_begins_with_main(bench: Bench) -> None:
    """Prescaler 8; port_ticks() costs 4 cycles and reads what stands when they have passed."""
    told = Told(
        bench.run("""
            #include "say.h"
            int main(void)
            {
                for (int k = 0; k < 6; k++)
                    say(port_ticks());
                SLEEP_FOREVER
            }
        """)
    )

    # Each number takes 4 cycles to read and 2 x 2 to say; the last mark falls 4 after the reading.
    read_at = [cycle - 4 - START_UP_CYCLES for cycle, _ in told.marks[1::2]]
    assert read_at == [4, 12, 20, 28, 36, 44]
    assert told.numbers == [cycle // 8 for cycle in read_at]


def test_ticks_wrap_after_32768_us(bench: Bench) -> None:
    """By arithmetic: 65 536 ticks of 8 cycles; the wrap flag stands until its handler has run."""
    told = Told(
        bench.run(
            """
            #include "say.h"
            void on_wrap(void)
            {
                port_mark(20);
                say(port_ticks());
            }
            int main(void)
            {
                port_wrap_interrupt(1);
                SLEEP_FOREVER
            }
        """,
            end_s=0.14,
        )
    )

    at = [cycle for cycle, value in told.marks if value == 20]
    assert [told.marks[k][1] for k in (1, 2)] == [0, 1], "11 cycles after the wrap the count is 1"
    # The wrap, 7 cycles to enter the handler, 2 for the mark.
    assert at[0] == START_UP_CYCLES + WRAP_CYCLES + 7 + 2
    assert (at[1] - at[0]) == WRAP_CYCLES == 16e6 * 32.768e-3


COMPARE = """
    #include "say.h"
    void on_compare_a(void)
    {{
        port_mark(20);
        port_compare_a_interrupt(0);
    }}
    int main(void)
    {{
        while (port_ticks() < 100) {{}}
        port_compare_a({value});
        port_mark(19);
        port_compare_a_clear();
        port_compare_a_interrupt(1);
        SLEEP_FOREVER
    }}
"""


def ticks_to_match(bench: Bench, value: str) -> float:
    """Ticks from the setting of compare A to its match."""
    told = Told(bench.run(COMPARE.format(value=value)))
    return (told.cycle_of(20) - 7 - 2 - (told.cycle_of(19) - 2)) / 8


def test_a_compare_ahead_matches_when_the_count_reaches_it(bench: Bench) -> None:
    """The match falls at the beginning of the tick named."""
    told = Told(bench.run(COMPARE.format(value="1000")))

    assert told.cycle_of(20) == START_UP_CYCLES + 1000 * 8 + 7 + 2


def test_a_compare_behind_the_counter_waits_a_whole_wrap(bench: Bench) -> None:
    """By arithmetic: there is no "already past" in an equality: the next match comes after 32.768 ms."""
    told = Told(bench.run(COMPARE.format(value="99")))

    assert told.cycle_of(20) == START_UP_CYCLES + 99 * 8 + WRAP_CYCLES + 7 + 2


def test_a_compare_equal_to_the_counter_waits_a_whole_wrap(bench: Bench) -> None:
    """8159E p. 83: the match is sampled as the count changes; one that stands there already is past."""
    waited = ticks_to_match(bench, "port_ticks()")

    assert 65_534 < waited <= 65_536


def test_a_stale_match_flag_fires_as_soon_as_its_interrupt_is_on(bench: Bench) -> None:
    """A match sets the flag with its interrupt off too; only clearing or serving takes it back."""
    told = Told(
        bench.run("""
            #include "say.h"
            void on_compare_a(void) { port_mark(20); }
            void on_compare_b(void) { port_mark(21); }
            int main(void)
            {
                port_compare_a(50);
                port_compare_b(50);
                while (port_ticks() < 1000) {}
                port_compare_b_clear();
                port_compare_a_interrupt(1);
                port_compare_b_interrupt(1);
                port_interrupts_restore(1);
                port_mark(22);
                SLEEP_FOREVER
            }
        """)
    )

    assert [value for _, value in told.marks][:2] == [20, 22], "A was stale, B cleared"
    assert told.cycle_of(20) < START_UP_CYCLES + 1100 * 8


def test_a_match_repeats_every_wrap(bench: Bench) -> None:
    """The compare register keeps its value: 32.768 ms later it matches again."""
    told = Told(
        bench.run(
            """
            #include "say.h"
            void on_compare_b(void) { port_mark(20); }
            int main(void)
            {
                port_compare_b(1000);
                port_compare_b_interrupt(1);
                SLEEP_FOREVER
            }
        """,
            end_s=0.2,
        )
    )

    at = [cycle for cycle, _ in told.marks]
    assert len(at) == 5
    assert {late - early for early, late in pairwise(at)} == {WRAP_CYCLES}


HALVES = """
    #include "say.h"
    static volatile uint8_t touch;
    void on_compare_b(void)
    {{
        port_mark(20);
        if (touch)
            (void)port_ticks();
    }}
    static uint16_t read(void) {{ return port_ticks(); }}
    int main(void)
    {{
        uint8_t k;
        touch = {touch};
        port_compare_b_interrupt(1);
        for (k = 0; k < 32; k++) {{
            uint16_t wait, seen, after;
            port_interrupts_off();
            /* just below a multiple of 256, so that the handler's high byte is another one */
            while ((port_ticks() & 0xFFU) != 0xFCU) {{}}
            port_compare_b((uint16_t)(port_ticks() + 3U));
            for (wait = 0; wait < k; wait++)
                port_mark(30);
            {on}
            seen = read();
            port_interrupts_restore(1);
            port_mark(31);
            port_interrupts_off();
            after = port_ticks();
            say((uint16_t)(after - seen));
        }}
        SLEEP_FOREVER
    }}
"""


def distances(bench: Bench, touch: int, on: str) -> list[int]:
    """Ticks between a reading and the next one, the handler falling at every place around the first."""
    told = Told(bench.run(HALVES.format(touch=touch, on=on)))
    values = [value for _, value in told.marks if value not in (20, 30)]
    return [high << 8 | low for mark, high, low in zip(values[::3], values[1::3], values[2::3], strict=True)]


def test_a_handler_between_the_halves_of_a_count_spoils_it(bench: Bench) -> None:
    """DS40002011A p. 164: one byte shared by all 16-bit registers of the timer; the count is 256 off."""
    on = "port_interrupts_restore(1);"

    assert max(distances(bench, touch=1, on=on)) > 65_000, "a reading 256 ticks ahead of its time"
    assert max(distances(bench, touch=0, on=on)) < 30, "a handler that leaves the timer alone does no harm"


def test_with_interrupts_off_no_count_is_spoilt(bench: Bench) -> None:
    """As drive_port.h asks of main where a handler also uses the timer."""
    assert max(distances(bench, touch=1, on="")) < 30


def test_a_handler_between_the_halves_of_a_compare_spoils_it(bench: Bench) -> None:
    """DS40002011A p. 164: the high byte goes first, into the shared byte, and the handler replaces it."""
    told = Told(
        bench.run("""
            #include "say.h"
            void on_compare_a(void) { port_mark(20); }
            void on_compare_b(void) { (void)port_ticks(); }
            int main(void)
            {
                port_compare_b(1000);
                while (port_ticks() < 2000) {}
                port_compare_a_interrupt(1);
                port_compare_b_interrupt(1);
                port_compare_a_clear();
                port_interrupts_restore(1);
                port_compare_a(0x2010);
                SLEEP_FOREVER
            }
        """)
    )

    # 2000 ticks are 0x07D0: the handler's byte makes 0x0710 of it, which has passed and matches a wrap later.
    assert told.cycle_of(20) == START_UP_CYCLES + 0x0710 * 8 + WRAP_CYCLES + 7 + 2
