"""Vectors, their order, nesting and cost.

Outside checks: the vector numbers are those of the device header iomx8.h of avr-libc 2.0.0
(TIMER1_CAPT_vect_num 10, TIMER1_COMPA 11, TIMER1_COMPB 12, TIMER1_OVF 13, ANALOG_COMP 23), which
counts the reset vector as 0; the data sheet's table counts it as 1, and so do we. Response: data
sheet 8271H section 7.7.1, DS40001906C p. 32.
"""

from dryspin.recording import Recording, Signal

from ..small_firmware import Bench, Told

AVR_LIBC = {"throttle": 10, "compare A": 11, "compare B": 12, "wrap": 13, "comparator": 23}

ALL_DUE = """
    #include "say.h"
    void on_throttle_edge(void) {{ port_mark(20); {inside} }}
    void on_compare_a(void) {{ port_mark(21); {inside} }}
    void on_compare_b(void) {{ port_mark(22); {inside} }}
    void on_wrap(void) {{ port_mark(23); {inside} }}
    void on_comparator_edge(void) {{ port_mark(24); {inside} }}
    int main(void)
    {{
        /* every flag stands: each happens while interrupts are off */
        port_sense_edge(1U ^ port_sense_above());
        port_sense_edge(port_sense_above());
        port_throttle_edge(PORT_RISING);
        while (port_wrap_flag() == 0 || port_throttle_level() == 0) {{}}
        port_compare_a(port_ticks() + 10);
        port_compare_b(port_ticks() + 10);
        for (uint8_t k = 0; k < 40; k++)
            port_mark(30);
        port_sense_interrupt(1);
        port_wrap_interrupt(1);
        port_compare_b_interrupt(1);
        port_compare_a_interrupt(1);
        port_throttle_interrupt(1);
        port_mark(31);
        port_interrupts_restore(1);
        port_mark(32);
        SLEEP_FOREVER
    }}
"""


def all_due(bench: Bench, inside: str = "") -> Recording:
    """A run in which all five interrupts are due at once."""
    return bench.run(ALL_DUE.format(inside=inside), end_s=0.125, frame_ms=200.0, throttle_us=((0.0, 1500.0),))


def entries(recording: Recording) -> list[int]:
    """Vector numbers in the order in which handlers began."""
    return [int(v) for v in recording.of(Signal.HANDLER)[1] if v]


def test_due_handlers_run_in_the_order_of_their_vectors(bench: Bench) -> None:
    """The lowest address first (from memory); the comparator, late in the table, waits for the rest."""
    recording = all_due(bench)

    assert entries(recording)[:5] == [number + 1 for number in AVR_LIBC.values()] == [11, 12, 13, 14, 24]
    said = [value for _, value in Told(recording).marks if value not in (30, 31)]
    assert said[:6] == [20, 21, 22, 23, 24, 32], "and main goes on when all are done"


def test_edges_carry_the_vector_of_the_handler_that_caused_them(bench: Bench) -> None:
    """The recording's context is what tells main line and handlers apart."""
    recording = all_due(bench)
    _, values, rows = recording.of(Signal.MARK)

    context = {int(v): int(recording.edges["context"][row]) for v, row in zip(values, rows, strict=True)}
    assert {code: context[code] for code in (20, 21, 22, 23, 24, 31, 32)} == {
        **{20: 11, 21: 12, 22: 13, 23: 14, 24: 24},
        **{31: 0, 32: 0},
    }


def test_handlers_do_not_nest(bench: Bench) -> None:
    """Interrupts are off on entry (from memory), so each handler returns before the next begins."""
    values = all_due(bench).of(Signal.HANDLER)[1].tolist()

    assert values[:10] == [11, 0, 12, 0, 13, 0, 14, 0, 24, 0]


def test_handlers_nest_when_one_turns_interrupts_on(bench: Bench) -> None:
    """Unless re-enabled (from memory): then the next one due runs inside it."""
    values = all_due(bench, "port_interrupts_restore(1); port_mark(25);").of(Signal.HANDLER)[1].tolist()

    assert values[:10] == [11, 12, 13, 14, 24, 0, 0, 0, 0, 0]


def test_entry_takes_7_cycles_and_return_4(bench: Bench) -> None:
    """8271H section 7.7.1: 4 to respond and 3 for the jump in the vector table; 4 to return."""
    recording = all_due(bench)
    cycles, values, _ = recording.of(Signal.HANDLER)
    told = Told(recording)

    assert values[:3].tolist() == [11, 0, 12]
    assert told.cycle_of(20) - cycles[0] == 7 + 2, "entry, then the mark's own 2 cycles"
    assert cycles[1] - told.cycle_of(20) == 4
    assert cycles[2] == cycles[1], "the next one due begins where the last returned"


def test_interrupts_off_says_whether_they_were_on(bench: Bench) -> None:
    """Critical sections nest by handing the answer to port_interrupts_restore()."""
    told = Told(
        bench.run("""
            #include "say.h"
            int main(void)
            {
                port_mark(20 + port_interrupts_off());
                port_interrupts_restore(1);
                uint8_t were_on = port_interrupts_off();
                port_mark(20 + were_on);
                port_mark(20 + port_interrupts_off());
                port_interrupts_restore(were_on);
                port_mark(20 + port_interrupts_off());
                SLEEP_FOREVER
            }
        """)
    )

    assert [value for _, value in told.marks] == [20, 21, 20, 21]
