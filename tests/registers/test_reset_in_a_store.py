"""A supply that gives way at the very cycle of a store to a port: the reset wins, whole."""

import pytest

from dryspin.recording import GATES, Recording, Signal
from dryspin.rig import Rig
from dryspin.scenario import Fault

from ..small_firmware import START_UP_CYCLES, scenario
from .conftest import RegisterBench

SWITCHES = """\
    #include <util/delay.h>
    int main(void)
    {
        DDRB = _BV(PB1);
        DDRD = _BV(PD5);
        for (;;) {
            PORTD |= _BV(PD5);
            PORTB |= _BV(PB1);
            _delay_us(30);
            PORTD &= (uint8_t)~_BV(PD5);
            PORTB &= (uint8_t)~_BV(PB1);
        }
    }
"""
"""High FET of U and low FET of V, both on for 30 us at a time: an outage empties the bus in some 25 us."""
INSTANTS = 120


def brown_out(recording: Recording) -> int:
    """Its cycle."""
    cycles, _, _ = recording.of(Signal.RESET)
    return next(int(cycle) for cycle in cycles if cycle > START_UP_CYCLES)


def edges(recording: Recording) -> set[int]:
    """Cycles at which a gate changes."""
    return {int(cycle) for signal in GATES for cycle in recording.of(signal)[0]}


@pytest.mark.parametrize("shifter_ns", [0.0, 250.0])
def test_every_gate_is_off_after_a_reset_at_any_cycle_of_a_store(
    bench: RegisterBench, shifter_ns: float
) -> None:
    """ "I/O ports ... immediately reset to their initial state when a reset source goes active" (7810C
    p. 44), the one being written as well. Outages over a round of the loop: some resets meet an edge."""
    wired = bench.wired(shifter_on_ns=shifter_ns, shifter_off_ns=shifter_ns)
    rig = Rig(wired.image(SWITCHES), wired.drive)
    late = round(shifter_ns * 0.016)
    undisturbed = edges(rig.run(scenario(0.071), block_cycles=6))
    met = 0
    for k in range(INSTANTS):
        outage = Fault("supply gap", 0.07 + k * 0.35e-6, 15.0)
        recording = rig.run(scenario(0.071, faults=(outage,)), block_cycles=6)
        off_at = brown_out(recording) + late
        met += off_at - late in undisturbed
        for signal in GATES:
            cycles, values, _ = recording.of(signal)
            assert values[cycles <= off_at][-1] == 0, (signal, outage)
            assert cycles[-1] <= off_at, (signal, outage)

    assert met >= 1
