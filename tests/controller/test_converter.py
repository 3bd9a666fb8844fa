"""The ADC and what it does to the comparator.

Outside checks: 13 ADC clocks a conversion, 25 the first one, sampled at 1.5 and 13.5 (8271H p.
241); at 16 MHz / 128 that is 104 us and 200 us. With the ADC on, the multiplexer does not feed the
comparator, which sees the other fixed pin instead (DS40002070A p. 241).
"""

import pytest

from dryspin.recording import Signal

from ..small_firmware import START_UP_CYCLES, Bench, Told

CONVERT = """
    #include "say.h"
    static volatile uint8_t done;
    void on_converter_done(void) { done = 1; }
    static void wait(void)
    {
        done = 0;
        port_convert_bus();
        for (;;) {
            port_interrupts_off();
            if (done)
                break;
            port_idle();
        }
        port_interrupts_restore(1);
    }
    int main(void)
    {
        uint16_t before, between, after;
        port_convert_interrupt(1);
        before = port_ticks();
        wait();
        between = port_ticks();
        wait();
        after = port_ticks();
        port_convert_off();
        say((uint16_t)(between - before));
        say((uint16_t)(after - between));
        say(port_converted());
        SLEEP_FOREVER
    }
"""


def test_conversions_take_25_then_13_clocks(bench: Bench) -> None:
    """In ticks of 8 cycles: 400 and 208, and some for the handler."""
    first, second, _ = Told(bench.run(CONVERT)).numbers

    assert 400 <= first <= 410
    assert 208 <= second <= 218


def test_the_result_is_the_bus_behind_its_divider(bench: Bench) -> None:
    """Ten bits of the controller's 5 V: 11.1 V x 10/43 / 5 V x 1023, less what 20 mA drop in the source."""
    _, _, result = Told(bench.run(CONVERT)).numbers

    assert abs(result - 11.0995 * 10.0 / 43.0 / 5.0 * 1023.0) <= 1


def test_the_comparator_is_blind_while_the_adc_is_on(bench: Bench) -> None:
    """DS40002070A p. 241: a phase that stands above the neutral reads as below, and comes back afterwards."""
    text = """
        #include "say.h"
        int main(void)
        {
            port_leg(PORT_U, PORT_HIGH);
            port_leg(PORT_V, PORT_LOW);
            port_sense_select(PORT_U);
            while (!port_sense_above())
                ;
            port_convert_bus();
            port_ticks(); port_ticks(); port_ticks(); port_ticks(); port_ticks();
            say(port_sense_above());
            port_convert_off();
            port_ticks(); port_ticks(); port_ticks(); port_ticks(); port_ticks();
            say(port_sense_above());
            port_all_open();
            SLEEP_FOREVER
        }
    """
    recording = bench.run(text)

    assert Told(recording).numbers == [0, 1]
    assert recording.of(Signal.CONVERTER)[1].tolist() == [0, 1, 0]


def test_turning_the_adc_on_is_an_edge_to_the_comparator(bench: Bench) -> None:
    """DS40002070A p. 241: the input silently becomes the other pin, and the edge detector sees a step."""
    text = """
        #include "say.h"
        int main(void)
        {
            port_leg(PORT_U, PORT_HIGH);
            port_leg(PORT_V, PORT_LOW);
            port_sense_select(PORT_U);
            while (!port_sense_above())
                ;
            port_sense_edge(PORT_FALLS_BELOW);
            port_sense_clear();
            port_mark(20 + port_sense_flag());
            port_convert_bus();
            port_ticks(); port_ticks(); port_ticks(); port_ticks(); port_ticks();
            port_mark(20 + port_sense_flag());
            port_all_open();
            SLEEP_FOREVER
        }
    """

    assert [value for _, value in Told(bench.run(text)).marks] == [20, 21]


def test_the_bus_is_sampled_1_5_clocks_after_the_start_and_13_5_the_first_time(bench: Bench) -> None:
    """8271H p. 241, on a bus that rises by 8 V/ms: 0.1 V a clock of 8 us, some 3 counts.

    The bus follows its source a time constant late: r_supply times c_bus, in closed form. The plant holds
    the source's voltage over a segment of at most 20 us, 8 counts here; a clock counted wrong is 12 off.
    """
    begin_s, slope_v_s = START_UP_CYCLES / 16e6, 8e3
    text = CONVERT.replace("before = port_ticks();", "say(port_ticks()); before = port_ticks();").replace(
        "between = port_ticks();", "say(port_converted()); between = port_ticks(); port_mark(21);"
    )
    recording = bench.run(
        text, supply_v=((0.0, 7.0), (begin_s - 1e-4, 7.0), (begin_s + 1e-3, 7.0 + 1.1e-3 * slope_v_s))
    )
    on_cycle = int(recording.of(Signal.CONVERTER)[0][1])
    told = Told(recording)
    first = told.marks[2][1] << 8 | told.marks[3][1]
    second = told.numbers_after(21)[-1]
    lag_s = bench.drive.supply.r_ohm.nominal * bench.drive.supply.c_f.nominal
    again = next(cycle for cycle, value in told.marks if value == 21) + 4

    def counts(cycle: float, clocks: float) -> float:
        t_s = (cycle + clocks * 128) / 16e6
        bus_v = 7.0 + (t_s - begin_s + 1e-4 - lag_s) * slope_v_s - 0.02 * bench.drive.supply.r_ohm.nominal
        return bus_v * 10.0 / 43.0 / 5.0 * 1023.0

    assert first == pytest.approx(counts(on_cycle, 13.5), abs=8.0)
    assert second == pytest.approx(counts(again, 1.5), abs=8.0)


def test_the_converters_handler_comes_before_the_comparators(bench: Bench) -> None:
    """Vector numbers of the device header iomx8.h of avr-libc: ADC_vect_num 21, ANALOG_COMP_vect_num 23."""
    recording = bench.run("""
        #include "say.h"
        void on_converter_done(void) { port_mark(21); }
        void on_comparator_edge(void) { port_mark(22); }
        int main(void)
        {
            port_convert_bus();
            while (port_convert_busy())
                ;
            port_sense_edge(1U ^ port_sense_above());
            port_sense_edge(port_sense_above());
            port_sense_interrupt(1);
            port_convert_interrupt(1);
            port_interrupts_restore(1);
            port_mark(23);
            SLEEP_FOREVER
        }
    """)

    assert [value for _, value in Told(recording).marks] == [21, 22, 23]
    assert [int(v) for v in recording.of(Signal.HANDLER)[1] if v] == [22, 24]
