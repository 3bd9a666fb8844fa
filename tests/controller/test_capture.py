"""The throttle pin and the capture unit.

Outside checks: the noise canceller needs four equal samples and "adds four system clock cycles"
(DS40001906C p. 165); the synchroniser before it takes 2 more (same family); an unread
capture is overwritten (DS40001906C p. 165).
"""

from dataclasses import replace

import pytest

from dryspin.recording import Recording, Signal

from ..small_firmware import START_UP_CYCLES, Bench, Told

PULSES = {"throttle_us": ((0.0, 1500.0),), "frame_ms": 20.0}

EDGES = """
    #include "say.h"
    void on_throttle_edge(void)
    {
        say(port_throttle_ticks());
        port_throttle_edge(port_throttle_level() ? PORT_FALLING : PORT_RISING);
    }
    int main(void)
    {
        port_throttle_edge(PORT_RISING);
        port_throttle_interrupt(1);
        SLEEP_FOREVER
    }
"""


def pin(recording: Recording) -> list[int]:
    """Cycles of the pin's edges since main() began."""
    return [int(c) for c in recording.of(Signal.THROTTLE)[0][1:] if c > START_UP_CYCLES]


def test_the_pin_follows_the_scenario_from_half_a_frame_on(bench: Bench) -> None:
    """A receiver knows nothing of our power-on; half a frame is as good as any."""
    cycles, levels, _ = bench.run(EDGES, **PULSES).of(Signal.THROTTLE)

    assert cycles[1:5].tolist() == [160_000, 160_000 + 24_000, 480_000, 480_000 + 24_000]
    assert levels[1:5].tolist() == [1, 0, 1, 0]


def test_a_capture_holds_the_ticks_6_cycles_after_the_edge(bench: Bench) -> None:
    """DS40001906C p. 165: 2 cycles of synchroniser, 4 of noise canceller, whatever the prescaler."""
    recording = bench.run(EDGES, end_s=0.2, **PULSES)
    edges = pin(recording)

    assert len(edges) == 14
    expected = [((cycle + 6 - START_UP_CYCLES) // 8) % 65_536 for cycle in edges]
    assert Told(recording).numbers == expected
    assert [(b - a) % 65_536 for a, b in zip(expected[::2], expected[1::2], strict=True)] == [3000] * 7


def test_the_interrupt_comes_6_cycles_after_the_edge(bench: Bench) -> None:
    """The flag is set with the capture; then the handler is entered."""
    recording = bench.run(EDGES, **PULSES)
    cycles, values, _ = recording.of(Signal.HANDLER)

    assert int(cycles[values == 11][0]) == pin(recording)[0] + 6


def test_an_unread_capture_is_overwritten_by_the_next(bench: Bench) -> None:
    """DS40001906C p. 165: one register. Late reading gives the later edge."""
    recording = bench.run(
        """
        #include "say.h"
        void on_compare_a(void) { say(port_throttle_ticks()); }
        int main(void)
        {
            port_throttle_edge(PORT_RISING);
            port_compare_a(60000);
            port_compare_a_interrupt(1);
            SLEEP_FOREVER
        }
    """,
        **PULSES,
    )
    rising = [cycle for cycle in pin(recording)[::2] if cycle < START_UP_CYCLES + 60_000 * 8]

    assert len(rising) == 2
    assert Told(recording).numbers == [(rising[1] + 6 - START_UP_CYCLES) // 8]


def test_changing_the_edge_clears_the_capture_flag(bench: Bench) -> None:
    """8025I p. 121: the flag "must be cleared after the change"; the port does it with the change."""
    told = Told(
        bench.run(
            """
            #include "say.h"
            void on_throttle_edge(void) { port_mark(20); }
            int main(void)
            {
                port_throttle_edge(PORT_RISING);
                while (port_throttle_level() == 0) {}
                for (uint8_t k = 0; k < 20; k++)
                    port_mark(30);
                port_throttle_edge(PORT_FALLING);
                port_throttle_interrupt(1);
                port_interrupts_restore(1);
                port_mark(21);
                SLEEP_FOREVER
            }
        """,
            end_s=0.075,
            **PULSES,
        )
    )

    assert [value for _, value in told.marks if value != 30] == [21, 20], "only the falling edge, later"


def test_edges_during_start_up_leave_no_capture_behind(bench: Bench) -> None:
    """7810C p. 44: in reset the timer stands in its initial state: no flag and no old capture."""
    told = Told(
        bench.run(
            """
            #include "say.h"
            void on_throttle_edge(void) { port_mark(20); }
            int main(void)
            {
                say(port_throttle_ticks());
                port_throttle_interrupt(1);
                port_interrupts_restore(1);
                port_mark(21);
                SLEEP_FOREVER
            }
        """,
            end_s=0.069,
            **PULSES,
        )
    )

    assert [value for _, value in told.marks] == [0, 0, 21]


@pytest.mark.parametrize(("width_us", "captured"), [(0.19, False), (0.25, True)])
def test_a_pulse_of_less_than_four_samples_is_not_captured(
    bench: Bench, width_us: float, captured: bool
) -> None:
    """DS40001906C p. 165: "all four must be equal": 3 cycles are lost, 4 are seen; the pin shows both."""
    recording = bench.run(EDGES, end_s=0.1, throttle_us=((0.0, width_us),), frame_ms=20.0)

    assert len(pin(recording)) >= 2
    assert bool(Told(recording).numbers) == captured


def test_an_rc_clock_measures_a_true_1500_us_as_1350_to_1650(bench: Bench) -> None:
    """8161D p. 317: the uncalibrated oscillator is good to 10 %; at 8 MHz a tick is taken for 1 us."""
    controller = replace(bench.drive.controller, clock="rc", f_cpu_hz=8e6)
    drive = replace(bench.drive, controller=controller)
    widths = []
    for clock in (0.9, 1.0, 1.1):
        numbers = Told(Bench(bench.folder, drive).run(EDGES, parts={"clock": clock}, **PULSES)).numbers
        widths.append((numbers[1] - numbers[0]) % 65_536)

    assert widths == [pytest.approx(us, abs=1) for us in (1350, 1500, 1650)]
