"""Sleeping until a handler has run."""

from ..small_firmware import START_UP_CYCLES, Bench, Told, scenario


def test_idle_wakes_after_a_handler_and_4_cycles_more(bench: Bench) -> None:
    """8271H section 7.7.1: 4 cycles more out of sleep. Nothing but the handler wakes it."""
    told = Told(
        bench.run("""
            #include "say.h"
            void on_compare_a(void) { port_mark(20); }
            int main(void)
            {
                port_compare_a(2000);
                port_compare_b(1000);
                port_compare_a_interrupt(1);
                port_interrupts_off();
                port_idle();
                port_mark(21);
                SLEEP_FOREVER
            }
        """)
    )

    assert told.cycle_of(20) == START_UP_CYCLES + 2000 * 8 + 7 + 2
    assert told.cycle_of(21) - told.cycle_of(20) == 4 + 4 + 2, "return, wake, mark"


def test_no_wake_up_is_lost_between_looking_and_sleeping(bench: Bench) -> None:
    """A match in the very cycles between the look for work and port_idle() still wakes it."""
    rig = bench.rig("""
        #include "say.h"
        static volatile uint8_t work;
        void on_compare_a(void) { work = 1; }
        int main(void)
        {
            port_compare_a_interrupt(1);
            for (uint8_t ahead = 0; ahead < 16; ahead++) {
                uint16_t start = port_ticks();
                port_compare_a((uint16_t)(start + ahead));
                port_interrupts_restore(1);
                for (;;) {
                    port_interrupts_off();
                    if (work)
                        break;
                    port_idle();
                }
                work = 0;
                say((uint16_t)(port_ticks() - start));
            }
            SLEEP_FOREVER
        }
    """)

    waited = Told(rig.run(scenario(0.2))).numbers

    assert len(waited) == 16, "each one was woken"
    late = [ticks - ahead for ahead, ticks in enumerate(waited) if ticks < 60_000]
    assert len(late) >= 14, "all but those set behind the counter, which take a wrap"
    assert all(0 <= ticks <= 6 for ticks in late)


def test_idle_turns_interrupts_on_and_leaves_them_on(bench: Bench) -> None:
    """As the sleep instruction right after the one that enables interrupts."""
    told = Told(
        bench.run("""
            #include "say.h"
            void on_compare_a(void) {}
            int main(void)
            {
                port_compare_a(1000);
                port_compare_a_interrupt(1);
                port_interrupts_off();
                port_idle();
                port_mark(20 + port_interrupts_off());
                SLEEP_FOREVER
            }
        """)
    )

    assert [value for _, value in told.marks] == [21]
