"""External reset: what stops, what starts anew, what goes on.

Outside check: "I/O ports ... immediately reset to their initial state when a reset source goes
active. This does not require any clock source", then a start-up delay counter (7810C p. 44, 8025I
p. 46); sources are told apart in a register (7810C p. 44). The 65 ms are the longest
fuse setting for a crystal (data sheet, low power crystal oscillator; from memory).
"""

import numpy as np
import pytest

from dryspin.recording import Signal
from dryspin.scenario import Fault

from ..small_firmware import START_UP_CYCLES, Bench, Told, scenario

RESET_CYCLE = 1_600_000
AT_100_MS = {"faults": (Fault("reset", 0.1),), "end_s": 0.2}

DRIVING = """
    #include "say.h"
    int main(void)
    {
        port_mark(20);
        port_sense_select(PORT_W);
        port_sense_edge(PORT_RISES_ABOVE);
        port_sense_interrupt(1);
        port_duty(20);
        port_carriers_start(3);
        port_leg(PORT_U, PORT_CHOPPED);
        port_leg(PORT_V, PORT_LOW);
        port_leg(PORT_W, PORT_HIGH);
        for (;;)
            port_mark(30);
    }
"""


def test_reset_opens_all_gates_at_the_same_cycle(bench: Bench) -> None:
    """7810C p. 44: at once, without a clock, whatever code is doing. What the board does goes on."""
    recording = bench.run(DRIVING, **AT_100_MS)

    for leg in range(3):
        assert recording.value_at(Signal(leg), RESET_CYCLE) == 0
    for leg in (1, 2):
        assert recording.value_at(Signal(leg), RESET_CYCLE - 1) != 0
        assert RESET_CYCLE in recording.of(Signal(leg))[0]
    in_reset = (recording.cycles > RESET_CYCLE) & (recording.cycles < RESET_CYCLE + START_UP_CYCLES)
    assert set(recording.edges["signal"][in_reset].tolist()) <= {Signal.COMPARATOR, Signal.OVER_CURRENT}


def test_main_starts_again_65_ms_later(bench: Bench) -> None:
    """And runs from its beginning."""
    marks = [cycle for cycle, value in Told(bench.run(DRIVING, **AT_100_MS)).marks if value == 20]

    assert marks == [START_UP_CYCLES + 2, RESET_CYCLE + START_UP_CYCLES + 2]


MEMORY = """
    #include "say.h"
    static volatile uint8_t set = 5, cleared;
    static uint8_t *volatile pointer = (uint8_t *)&cleared;
    static volatile uint8_t kept[2] __attribute__((section(".noinit")));
    int main(void)
    {
        port_mark(20 + port_reset_cause());
        port_mark(set);
        port_mark(cleared);
        port_mark(*pointer);
        port_mark(kept[1]);
        set = 6;
        *pointer = 7;
        pointer = (uint8_t *)&set;
        kept[1] = (uint8_t)(kept[1] + 1);
        SLEEP_FOREVER
    }
"""

AFTER_POWER_ON = [21, 5, 0, 0, 0xA5]
AFTER_RESET = [22, 5, 0, 0, 0xA6]


def said_after_start(told: Told) -> list[list[int]]:
    """The five values of MEMORY after each start."""
    values = [value for cycle, value in told.marks if cycle != RESET_CYCLE]
    return [values[:5], values[5:]]


def test_reset_restores_data_and_bss_and_keeps_noinit(bench: Bench) -> None:
    """The start-up code of the part's compiler does; .noinit is what survives on purpose."""
    told = Told(bench.run(MEMORY, **AT_100_MS))

    assert said_after_start(told) == [AFTER_POWER_ON, AFTER_RESET]


def test_every_run_begins_with_the_same_memory(bench: Bench) -> None:
    """Power-on: .noinit holds 0xA5, whatever an earlier run of this process has left there."""
    rig = bench.rig(MEMORY)
    first, second = (said_after_start(Told(rig.run(scenario(**AT_100_MS)))) for _ in range(2))

    assert first == second == [AFTER_POWER_ON, AFTER_RESET]


def test_reset_stops_the_peripherals(bench: Bench) -> None:
    """No carrier, no interrupt, first phase, falling edge, count 0: as after power-on."""
    told = Told(
        bench.run(
            """
            #include "say.h"
            void on_compare_a(void) { port_mark(40); }
            int main(void)
            {
                port_leg(PORT_U, PORT_CHOPPED);
                say(port_ticks());
                port_duty(128);
                port_interrupts_restore(1);
                if (port_reset_cause() == PORT_RESET_POWER_ON) {
                    port_carriers_start(3);
                    port_compare_a_interrupt(1);
                }
                SLEEP_FOREVER
            }
        """,
            **AT_100_MS,
        )
    )

    starts = [value for cycle, value in told.marks if value != 40 and cycle != RESET_CYCLE]
    assert starts == [0, 1, 0, 1]
    assert not [1 for cycle, value in told.marks if value == 40 and cycle > RESET_CYCLE]


def test_a_chopped_leg_stays_off_after_reset_until_its_carrier_starts(bench: Bench) -> None:
    """The timers have stopped with everything else."""
    recording = bench.run(
        """
        #include "say.h"
        int main(void)
        {
            port_duty(128);
            port_leg(PORT_U, PORT_CHOPPED);
            if (port_reset_cause() == PORT_RESET_POWER_ON)
                port_carriers_start(3);
            SLEEP_FOREVER
        }
    """,
        **AT_100_MS,
    )
    cycles, values, _ = recording.of(Signal.GATE_U)

    assert len(cycles) > 100
    assert cycles[-1] <= RESET_CYCLE
    assert values[-1] == 0


def test_the_rotor_goes_on_through_a_reset(bench: Bench) -> None:
    """Only the controller starts anew; the rotor has inertia and knows nothing of it."""
    recording = bench.run(
        """
        #include "say.h"
        int main(void)
        {
            SLEEP_FOREVER
        }
    """,
        load_nm=((0.0, -0.02), (0.05, -0.02)),
        **AT_100_MS,
    )
    around = recording.states_between(0.0999, 0.1001)

    w = recording.states["w_rad_s"][around].astype(float)
    theta = recording.states["theta_rad"][around]
    assert w.min() > 50.0
    assert np.abs(np.diff(w)).max() < 0.1
    assert np.abs(np.diff(theta)).max() < 0.1
    assert recording.w_at(0.19) > recording.w_at(0.1)


@pytest.mark.parametrize("at_ms", [100.0, 101.3, 102.6, 103.9, 105.2, 106.5, 107.8, 109.1])
def test_the_recorded_comparator_is_what_software_reads_after_a_reset(bench: Bench, at_ms: float) -> None:
    """Reset leads phase U to the comparator again; the step shows in the recording as in the port."""
    recording = bench.run(
        """
        #include "say.h"
        int main(void)
        {
            port_mark(20 + port_sense_above());
            port_mark(22 + port_sense_flag());
            port_sense_select(PORT_V);
            SLEEP_FOREVER
        }
    """,
        end_s=0.2,
        speed_rpm=((0.0, 40.0),),
        faults=(Fault("reset", at_ms * 1e-3),),
    )

    for cycle, value in Told(recording).marks:
        if value in (20, 21):
            assert recording.value_at(Signal.COMPARATOR, cycle - 2) == value - 20
        if value in (22, 23):
            assert value == 22, "edges during start-up set no flag"


def test_a_second_reset_during_start_up_begins_it_anew(bench: Bench) -> None:
    """The delay counter starts with the last reset."""
    faults = (Fault("reset", 0.1), Fault("reset", 0.13))
    marks = Told(bench.run(DRIVING, end_s=0.2, faults=faults)).marks

    starts = [cycle for cycle, value in marks if value == 20]
    assert starts == [START_UP_CYCLES + 2, 2_080_000 + START_UP_CYCLES + 2]
