"""The ADC and what it does to the comparator.

Outside checks: 13 ADC clocks a conversion, 25 the first one, sampled at 1.5 and 13.5 (8271H p. 241,
U-51); at 16 MHz / 128 that is 104 us and 200 us. With the ADC on, the multiplexer does not feed the
comparator, which sees the other fixed pin instead (DS40002070A p. 241, U-05).
"""

from dryspin.recording import Signal

from ..small_firmware import Bench, Told

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
    """U-05: a phase that stands above the neutral reads as below, and comes back afterwards."""
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
