"""The watchdog. Outside check: 2K cycles of 128 kHz are 16 ms, doubled up to 8 s (2545T table 11-2);
it is one of four reset sources (7810C p. 44), and stays on after its own reset (from memory)."""

import pytest

from dryspin.recording import Reset, Signal
from dryspin.scenario import Fault

from ..small_firmware import START_UP_CYCLES, Bench, Told

UNFED = """
    #include "say.h"
    int main(void)
    {
        port_mark(20 + port_reset_cause());
        if (port_reset_cause() == PORT_RESET_WATCHDOG)
            port_watchdog_off();
        else
            port_watchdog_on(%d);
        SLEEP_FOREVER
    }
"""


@pytest.mark.parametrize("doublings", [0, 1, 3])
def test_it_bites_after_16_ms_doubled(bench: Bench, doublings: int) -> None:
    """And the cause says so."""
    recording = bench.run(UNFED % doublings, end_s=0.3)
    cycles, causes, _ = recording.of(Signal.RESET)

    assert causes.tolist() == [Reset.POWER_ON, Reset.WATCHDOG]
    assert abs(int(cycles[1]) - START_UP_CYCLES - 256_000 * 2**doublings) < 20
    assert [mark for _, mark in Told(recording).marks if mark > 20] == [21, 28]


def test_it_stays_on_after_its_reset_until_turned_off(bench: Bench) -> None:
    """A firmware that does not expect this is reset every 81 ms for ever."""
    text = UNFED.replace("port_watchdog_off();", ";") % 0
    causes = bench.run(text, end_s=0.4).of(Signal.RESET)[1].tolist()

    assert causes == [Reset.POWER_ON, *[Reset.WATCHDOG] * 3, Reset.WATCHDOG][: len(causes)]
    assert len(causes) == 5


def test_feeding_begins_the_time_anew(bench: Bench) -> None:
    """Fed every 8 ms it never bites."""
    text = """
        #include "say.h"
        void on_compare_a(void)
        {
            port_watchdog_feed();
            port_compare_a((uint16_t)(port_ticks() + 16000U));
        }
        int main(void)
        {
            port_watchdog_on(0);
            port_compare_a(16000);
            port_compare_a_interrupt(1);
            for (;;) {
                port_interrupts_off();
                port_idle();
            }
        }
    """
    assert bench.run(text, end_s=0.3).of(Signal.RESET)[1].tolist() == [Reset.POWER_ON]


def test_turned_off_it_does_not_bite(bench: Bench) -> None:
    """Nor with a feed afterwards."""
    text = """
        #include "say.h"
        int main(void)
        {
            port_watchdog_on(0);
            port_watchdog_off();
            port_watchdog_feed();
            SLEEP_FOREVER
        }
    """
    assert bench.run(text, end_s=0.2).of(Signal.RESET)[1].tolist() == [Reset.POWER_ON]


def test_another_reset_turns_it_off(bench: Bench) -> None:
    """7810C p. 44: a reset puts every register back; only its own reset leaves it on (from memory)."""
    text = UNFED.replace(
        "port_reset_cause() == PORT_RESET_WATCHDOG", "port_reset_cause() == PORT_RESET_EXTERNAL"
    )
    recording = bench.run(
        text.replace("port_watchdog_off();", ";") % 2, end_s=0.4, faults=(Fault("reset", 0.1),)
    )

    assert recording.of(Signal.RESET)[1].tolist() == [Reset.POWER_ON, Reset.EXTERNAL]


def test_it_bites_with_interrupts_off_and_opens_the_gates(bench: Bench) -> None:
    """2545T table 11-2: its own oscillator. The last defence of a firmware that hangs with a leg on."""
    recording = bench.run(
        """
        #include "say.h"
        int main(void)
        {
            if (port_reset_cause() == PORT_RESET_POWER_ON) {
                port_watchdog_on(0);
                port_leg(PORT_U, PORT_LOW);
                port_leg(PORT_V, PORT_HIGH);
                for (;;)
                    port_interrupts_off();
            }
            port_watchdog_off();
            SLEEP_FOREVER
        }
    """,
        end_s=0.2,
    )
    bitten = int(recording.of(Signal.RESET)[0][1])

    for leg in (Signal.GATE_U, Signal.GATE_V):
        assert recording.value_at(leg, bitten - 1) != 0
        assert recording.value_at(leg, bitten) == 0


FED_BY_HANDLER = """
    #include "say.h"
    void on_compare_a(void)
    {
        port_watchdog_feed();
        port_mark(40);
        port_compare_a((uint16_t)(port_ticks() + 16000U));
    }
    int main(void)
    {
        if (port_reset_cause() == PORT_RESET_POWER_ON) {
            port_watchdog_on(1);
            port_leg(PORT_U, PORT_LOW);
            port_compare_a(16000);
            port_compare_a_interrupt(1);
        } else {
            port_watchdog_off();
        }
        for (;;) {
            port_interrupts_off();
            port_idle();
        }
    }
"""


def test_an_endless_loop_runs_no_handler_and_ends_by_the_watchdog(bench: Bench) -> None:
    """From then on nothing of the firmware runs and the gates stay; only the bite helps."""
    recording = bench.run(FED_BY_HANDLER, end_s=0.4, faults=(Fault("endless loop", 0.2),))
    cycles, causes, _ = recording.of(Signal.RESET)
    fed_s = [recording.seconds(cycle) for cycle, mark in Told(recording).marks if mark == 40]

    assert causes.tolist() == [Reset.POWER_ON, Reset.WATCHDOG]
    assert max(fed_s) < 0.2
    assert recording.seconds(cycles[1]) == pytest.approx(max(fed_s) + 0.032, abs=1e-5)
    assert recording.value_at(Signal.GATE_U, int(cycles[1]) - 1) == 2
    assert recording.value_at(Signal.GATE_U, int(cycles[1])) == 0


def test_without_a_watchdog_an_endless_loop_lasts_to_the_end(bench: Bench) -> None:
    """Nothing else ends it; the recording says when the watchdog was on."""
    text = FED_BY_HANDLER.replace("port_watchdog_on(1);", "")
    recording = bench.run(text, end_s=0.4, faults=(Fault("endless loop", 0.2),))

    assert recording.of(Signal.RESET)[1].tolist() == [Reset.POWER_ON]
    assert recording.value_at(Signal.GATE_U, recording.end_cycle) == 2
    assert recording.of(Signal.WATCHDOG)[1].tolist() == [0]
    watched = bench.run(FED_BY_HANDLER, end_s=0.1).of(Signal.WATCHDOG)[1].tolist()
    assert watched == [0, 32]
