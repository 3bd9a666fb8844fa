"""The byte store: writes that take time, fail silently, or are cut in half.

Outside checks: 26 368 cycles of the calibrated 8 MHz oscillator a write, typically 3.3 ms (8025I
table 5-2); the second unlock step within four cycles of the first (8271H p. 23); no
access while a write is under way (8271E p. 19); "If a reset occurs while a write operation is
in progress, the write operation will be completed provided that the power supply voltage is
sufficient" (vendor's online manual).
"""

from dataclasses import replace

import pytest

from dryspin.drive import Range
from dryspin.recording import Reset, Signal
from dryspin.scenario import Fault

from ..small_firmware import START_UP_CYCLES, Bench, Told

WRITE_CYCLES = 52_736  # 26 368 at 8 MHz, counted at 16 MHz

WRITE_ONE = """
    #include "say.h"
    int main(void)
    {
        if (port_reset_cause() == PORT_RESET_POWER_ON && port_store_read(7) == 0xFFU)
            port_store_write(7, 0x3C);
        while (port_store_busy())
            port_mark(30);
        say(port_store_read(7));
        SLEEP_FOREVER
    }
"""


def test_a_write_takes_26_368_cycles_of_8_mhz(bench: Bench) -> None:
    """3.296 ms: longer than two frames of a fast carrier, far longer than any step."""
    cycles, values, _ = bench.run(WRITE_ONE).of(Signal.STORE_BUSY)

    assert values.tolist() == [0, 1, 0]
    assert cycles[2] - cycles[1] == WRITE_CYCLES


def test_what_is_written_is_read_back_and_outlives_the_run(bench: Bench) -> None:
    """The recording hands on what a next run begins with."""
    recording = bench.run(WRITE_ONE)

    assert [value for value in Told(recording).numbers if value != 30 << 8 | 30][-1] == 0x3C
    assert recording.store == b"\xff" * 7 + b"\x3c" + b"\xff" * 504


def test_a_scenario_states_what_the_store_holds(bench: Bench) -> None:
    """Beyond the bytes given it is erased."""
    text = """
        #include "say.h"
        int main(void)
        {
            say(port_store_read(0));
            say(port_store_read(1));
            say(port_store_read(2));
            SLEEP_FOREVER
        }
    """
    assert Told(bench.run(text, store="a55a")).numbers == [0xA5, 0x5A, 0xFF]


def test_a_write_during_a_write_is_lost(bench: Bench) -> None:
    """8271E p. 19: address and data must not be touched while a write is under way."""
    text = """
        #include "say.h"
        int main(void)
        {
            port_store_write(0, 1);
            port_store_write(1, 2);
            while (port_store_busy())
                port_mark(30);
            SLEEP_FOREVER
        }
    """
    assert bench.run(text).store[:2] == b"\x01\xff"


def test_a_handler_between_the_unlock_steps_loses_the_write_silently(bench: Bench) -> None:
    """8271H p. 23: four cycles, and a handler takes more. Over all phases some writes are lost, none torn."""
    text = """
        #include "say.h"
        void on_compare_a(void) { port_compare_a((uint16_t)(port_ticks() + 20U)); }
        int main(void)
        {
            uint16_t at, wait;
            port_compare_a(40);
            port_compare_a_interrupt(1);
            port_interrupts_restore(1);
            for (at = 0; at < 80U; at++) {
                for (wait = 0; wait < at; wait++)
                    port_sense_clear();
                port_store_write(at, 0x11);
                while (port_store_busy())
                    port_mark(30);
            }
            SLEEP_FOREVER
        }
    """
    cells = bench.run(text, end_s=0.4).store[:80]

    assert set(cells) == {0x11, 0xFF}


def test_a_reset_lets_the_write_finish(bench: Bench) -> None:
    """The write "will be completed", with the supply up (vendor's online manual)."""
    begin_s = START_UP_CYCLES / 16e6
    recording = bench.run(WRITE_ONE, end_s=0.2, faults=(Fault("reset", begin_s + 1e-3),))

    assert recording.store[7] == 0x3C


def cut(bench: Bench, after_ms: float) -> bytes:
    """The store after a power cut so long after main() began to write."""
    at_s = round(START_UP_CYCLES / 16e6 + after_ms * 1e-3, 9)
    return bench.run(WRITE_ONE, end_s=at_s + 2e-3, faults=(Fault("power cut", at_s, 50.0),)).store


@pytest.mark.parametrize(("after_ms", "cell"), [(0.05, 0xFF), (1.65, 0xFF), (3.29, 0x3C), (3.4, 0x3C)])
def test_a_power_cut_leaves_old_erased_or_new(bench: Bench, after_ms: float, cell: int) -> None:
    """At the ends of the write, and between erasing and programming."""
    assert cut(bench, after_ms)[7] == cell


def test_a_power_cut_while_programming_leaves_some_bits_undone(bench: Bench) -> None:
    """Programming clears bits: each cell lies between erased and new."""
    cells = {cut(bench, 1.9 + 0.1 * k)[7] for k in range(10)}

    assert all(cell & 0x3C == 0x3C for cell in cells)
    assert len(cells - {0x3C, 0xFF}) > 2


def test_a_read_during_a_write_gives_the_byte_being_written(bench: Bench) -> None:
    """8271E p. 19: "it is neither possible to read the EEPROM, nor to change" its address meanwhile.

    So the data register still holds what was put there; that it is this byte is from memory.
    """
    text = """
        #include "say.h"
        int main(void)
        {
            port_store_write(0, 0x3C);
            port_mark(port_store_read(1));
            while (port_store_busy())
                port_ticks();
            port_mark(port_store_read(1));
            SLEEP_FOREVER
        }
    """

    assert [value for _, value in Told(bench.run(text, store="a55a")).marks] == [0x3C, 0x5A]


def test_a_power_cut_while_erasing_leaves_some_bits_of_the_old_byte(bench: Bench) -> None:
    """Erasing sets bits: each cell lies between the old byte and erased, whatever was to be written."""
    text = WRITE_ONE.replace("port_store_read(7) == 0xFFU", "port_store_read(7) == 0x81U")
    cells = set()
    for k in range(10):
        at_s = round(START_UP_CYCLES / 16e6 + (0.3 + 0.1 * k) * 1e-3, 9)
        recording = bench.run(
            text, end_s=at_s + 2e-3, store="00" * 7 + "81", faults=(Fault("power cut", at_s, 50.0),)
        )
        cells.add(recording.store[7])

    assert all(cell & 0x81 == 0x81 for cell in cells)
    assert len(cells - {0x81, 0xFF}) > 2


def test_a_byte_left_between_states_may_read_differently_every_time(bench: Bench) -> None:
    """A cell near its threshold; common practice, no source. Seen once power is back."""
    text = WRITE_ONE.replace(
        "say(port_store_read(7));",
        "if (port_store_read(7) != 0x3CU) for (uint8_t k = 0; k < 16U; k++) port_mark(port_store_read(7));",
    ).replace("port_store_read(7) == 0xFFU", "port_store_read(7) == 0x00U")
    unsteady = []
    for k in range(8):
        at_s = round(START_UP_CYCLES / 16e6 + (1.9 + 0.1 * k) * 1e-3, 9)
        recording = bench.run(
            text, end_s=at_s + 0.08, store="00" * 8, faults=(Fault("power cut", at_s, 5.0),)
        )
        after = {value for cycle, value in Told(recording).marks if cycle > (at_s + 0.07) * 16e6}
        unsteady.append(len(after) > 1)

    assert any(unsteady)
    assert not all(unsteady)


def test_a_bus_that_drains_during_a_write_is_a_power_cut_to_the_store(bench: Bench) -> None:
    """A reset lets the write finish "provided that the power supply voltage is sufficient".

    At 200 mA the supply falls from brown-out to 1.8 V in 0.13 ms from 10 uF, in 5.9 ms from 470 uF; the
    write has 2.3 ms to go.
    """
    begin_s = START_UP_CYCLES / 16e6
    cells, i_a = {}, 0.2
    for c_f in (10e-6, 470e-6):
        drive = replace(
            bench.drive,
            supply=replace(bench.drive.supply, c_f=Range.exactly(c_f)),
            controller=replace(bench.drive.controller, i_supply_a=i_a),
        )
        # so that brown-out comes 1 ms after main() has begun to write
        to_fall_s = c_f * (11.1 - i_a * 0.025 - 5.3) / i_a
        recording = Bench(bench.folder, drive).run(
            WRITE_ONE, end_s=0.2, faults=(Fault("supply gap", begin_s + 1e-3 - to_fall_s, 200.0),)
        )
        assert recording.of(Signal.RESET)[1].tolist()[1] == Reset.BROWN_OUT
        cells[c_f] = recording.store[7]

    assert cells[10e-6] != 0x3C
    assert cells[470e-6] == 0x3C
