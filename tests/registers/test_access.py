"""Reads and writes act in order, cost cycles, and leave read-only bits alone."""

from dryspin.recording import Signal
from dryspin.rig import Rig
from dryspin.scenario import Fault

from ..small_firmware import Told, scenario
from .conftest import RegisterBench

PORF, EXTRF = 1, 2
"""Bits of MCUSR: power-on, external reset."""


def test_in_and_out_cost_one_cycle_lds_and_sts_two(bench: RegisterBench) -> None:
    """Instruction set manual: IN, OUT 1 cycle, LDS, STS 2, SBI 2; counted by timer 0 without prescaler."""
    told = bench.told(
        """\
        TCCR0B = _BV(CS00);
        uint8_t a = TCNT0, b = TCNT0;      /* in, in */
        (void)OCR1AL; uint8_t c = TCNT0;   /* lds, in */
        PORTC |= _BV(PC5); uint8_t d = TCNT0; /* sbi, in */
        TIMSK1 = 0; uint8_t e = TCNT0;     /* sts, in */
        say(b - a); say(c - b); say(d - c); say(e - d);
        """
    )

    assert told == [1, 3, 3, 3]


def test_a_pair_costs_both_halves(bench: RegisterBench) -> None:
    """TCNT1 lies beyond in and out: two lds, four cycles; the low half is read first, after two."""
    told = bench.told("TCCR1B = _BV(CS10); uint16_t a = TCNT1, b = TCNT1; say(b - a);")

    assert told == [4]


def test_flags_are_cleared_by_writing_ones_and_only_those(bench: RegisterBench) -> None:
    """Data sheet, TIFR1: "can be cleared by writing a logic one to its bit location"."""
    told = bench.told(
        """\
        TCCR1B = _BV(CS10);
        OCR1A = 40; OCR1B = 60;
        while (!(TIFR1 & _BV(OCF1B))) { }
        say(TIFR1); TIFR1 = 0; say(TIFR1); TIFR1 = _BV(OCF1B); say(TIFR1);
        """
    )
    both, a = 0b110, 0b010

    assert told == [both, both, a]


def test_changing_a_flag_register_in_place_clears_every_flag_in_it(bench: RegisterBench) -> None:
    """`TIFR1 |= x` writes back the ones it has read: the trap that a plain write avoids."""
    told = bench.told(
        """\
        TCCR1B = _BV(CS10);
        OCR1A = 40; OCR1B = 60;
        while (!(TIFR1 & _BV(OCF1B))) { }
        TIFR1 |= _BV(OCF1A); say(TIFR1);
        """
    )

    assert told == [0]


def test_read_only_bits_stay(bench: RegisterBench) -> None:
    """ACO of ACSR and the result of the ADC cannot be written (data sheet, register descriptions)."""
    told = bench.told(
        "ACSR = 0; uint8_t a = ACSR; ACSR = (a ^ _BV(ACO)) & _BV(ACO); say((a ^ ACSR) & _BV(ACO));"
        "ADCL = 9; say(ADC);"
    )

    assert told == [0, 0]


def test_pin_registers_turn_port_bits_over(bench: RegisterBench) -> None:
    """Section "Toggling the Pin": "Writing a logic one to PINxn toggles the value of PORTxn"."""
    assert bench.told("PORTC = 3; PINC = 6; say(PORTC); DDRC = 7; say(PINC & 7);") == [5, 5]


def test_an_input_reads_its_pull_up_and_an_output_its_port_bit(bench: RegisterBench) -> None:
    """Table "Port Pin Configurations": DDR 0 and PORT 1 is an input with pull-up."""
    assert bench.told("say(PINC & 1); PORTC = 1; say(PINC & 1); DDRC = 1; PORTC = 0; say(PINC & 1);") == [
        0,
        1,
        0,
    ]


def test_a_handler_between_the_halves_of_a_read_spoils_it(bench: RegisterBench) -> None:
    """Section "Accessing 16-bit Registers": one shared byte, spoilt by a handler that uses it."""
    text = """\
        ISR(TIMER0_COMPA_vect) { OCR1B = 0x5500; }
        int main(void)
        {
            TCCR1B = _BV(CS10); TCNT1 = 0x2000; TCCR1B = 0;
            OCR0A = %d; TCCR0B = _BV(CS00); TIFR0 = 7; TIMSK0 = _BV(OCIE0A); TCNT0 = 0;
            sei();
            uint16_t seen[12];
            for (int k = 0; k < 12; k++)
                seen[k] = TCNT1;
            cli();
            for (int k = 0; k < 12; k++)
                say(seen[k] & 0xFF00);
            stop();
        }
    """
    spoilt = {n for moment in range(16, 20) for n in Told(bench.run(text % moment)).numbers}

    assert spoilt == {0x2000, 0x5500}


def test_a_change_in_place_of_several_bits_undoes_what_a_handler_did_meanwhile(bench: RegisterBench) -> None:
    """Two bits take in, ori, out: a handler after the in works in vain. One bit is one sbi, and safe."""
    text = """\
        ISR(TIMER0_COMPA_vect) { PORTC |= _BV(PC4); }
        int main(void)
        {
            TCCR0B = _BV(CS00); TIMSK0 = _BV(OCIE0A);
            for (uint8_t moment = 20; moment < 28; moment++) {
                PORTC = 0; OCR0A = moment; TCNT0 = 0; TIFR0 = 7;
                sei();
                for (int k = 0; k < 20; k++) { PORTC |= %s; PORTC &= (uint8_t)~(%s); }
                cli();
                say(PORTC & _BV(PC4));
            }
            stop();
        }
    """

    def seen(mask: str) -> set[int]:
        return set(Told(bench.run(text % (mask, mask))).numbers)

    assert seen("_BV(PC0)") == {16}
    assert seen("(_BV(PC0) | _BV(PC1))") == {0, 16}


def test_the_store_is_written_only_within_four_cycles_of_its_unlocking(bench: RegisterBench) -> None:
    """8271H p. 23: EEPE within four clock cycles after EEMPE, else nothing is written and nothing tells."""
    recording = bench.run(
        """\
        int main(void)
        {
            EEAR = 5; EEDR = 0x41; EECR |= _BV(EEMPE); EECR |= _BV(EEPE);
            while (EECR & _BV(EEPE)) { (void)TCNT0; }
            EEAR = 6; EEDR = 0x42; EECR |= _BV(EEMPE); (void)TCNT1; EECR |= _BV(EEPE);
            EEAR = 5; EECR |= _BV(EERE); say(EEDR);
            stop();
        }
        """
    )

    assert recording.store[5:7] == b"\x41\xff"
    assert Told(recording).numbers == [0x41]


def test_the_watchdog_is_turned_off_only_by_its_timed_sequence(bench: RegisterBench) -> None:
    """Section on the watchdog: WDCE and WDE together, then within four cycles the new value."""
    text = """\
        #include <avr/wdt.h>
        int main(void)
        {
            MCUSR = 0;
            wdt_enable(WDTO_15MS);
            %s
            stop();
        }
    """

    def resets(line: str) -> int:
        return len(bench.run(text % line, 0.12).of(Signal.RESET)[0])

    assert [resets("WDTCSR = 0;"), resets("wdt_disable();")] == [2, 1]


def test_one_more_access_comes_after_sei_before_any_handler(bench: RegisterBench) -> None:
    """Section "Reset and Interrupt Handling": "The instruction following SEI will be executed
    before any pending interrupts", so that sei and sleep lose no wake-up."""
    told = bench.told(
        "OCR0A = 1; TCCR0B = _BV(CS00); (void)OCR1A; (void)OCR1A; TIMSK0 = _BV(OCIE0A); sei();"
        "GPIOR0 = 2; say(GPIOR0);",
        before="ISR(TIMER0_COMPA_vect) { GPIOR0 |= GPIOR0 << 4; TIMSK0 = 0; }",
    )

    assert told == [0x22]


def test_due_handlers_come_lowest_vector_first(bench: RegisterBench) -> None:
    """Section "Interrupts": the lower the address, the higher the priority."""
    told = bench.told(
        "TCCR1B = _BV(CS10); TCCR0B = _BV(CS00); OCR0A = 5; OCR1A = 9; while (TCNT1 < 60) { }"
        "TIMSK0 = _BV(OCIE0A); TIMSK1 = _BV(OCIE1A); sei(); (void)TCNT0; (void)TCNT0;",
        before="ISR(TIMER0_COMPA_vect) { TIMSK0 = 0; say(15); }\n"
        "ISR(TIMER1_COMPA_vect) { TIMSK1 = 0; say(12); }",
    )

    assert told == [12, 15]


def test_an_atomic_block_gives_back_what_was(bench: RegisterBench) -> None:
    """util/atomic.h: left by break or return, too."""
    told = bench.told(
        "say(SREG >> 7); once(); say(SREG >> 7); sei(); once(); say(SREG >> 7);",
        before="#include <util/atomic.h>\n"
        "static void once(void) { ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { say(SREG >> 7); return; } }",
    )

    assert told == [0, 0, 0, 0, 1]


def test_busy_waits_last_as_long_as_they_say_and_longer_by_their_handlers(bench: RegisterBench) -> None:
    """Compile-time constants; counted by timer 1 without prescaler, reading and starting included."""
    told = bench.told(
        "TCCR1B = _BV(CS10); uint16_t a = TCNT1; _delay_us(10); uint16_t b = TCNT1; say(b - a);"
        "OCR0A = 50; TCCR0B = _BV(CS00); TIFR0 = 7; TIMSK0 = _BV(OCIE0A); sei();"
        "a = TCNT1; _delay_us(10); b = TCNT1; cli(); say(b - a > 164);",
        before="#include <util/delay.h>\nISR(TIMER0_COMPA_vect) { }",
    )

    assert told == [164, 1]


def test_program_memory_and_bit_instructions_run_as_written(bench: RegisterBench) -> None:
    """Tables in program memory; nop, sei, cli, sbi as inline assembly."""
    told = bench.told(
        'say(pgm_read_word(&table[1])); __asm__ volatile("sbi %0, %1" :: "I"(_SFR_IO_ADDR(PORTC)), "I"(PC2));'
        ' asm volatile("nop\\n\\tsei"); say(PORTC); say(SREG >> 7); asm volatile("cli");',
        before="#include <avr/pgmspace.h>\nstatic const uint16_t table[] PROGMEM = {1, 777};",
    )

    assert told == [777, 4, 1]


def test_bytes_leave_the_serial_output_one_frame_apart(bench: RegisterBench) -> None:
    """Data sheet, "Data Transmission": 10 bits of 16 (UBRR + 1) cycles at 8N1; a byte waits in the buffer."""
    recording = bench.run(
        "int main(void) { UBRR0 = 3; UCSR0B = _BV(TXEN0);"
        " for (uint8_t k = 'a'; k < 'd'; k++) { while (!(UCSR0A & _BV(UDRE0))) { } UDR0 = k; } stop(); }"
    )
    cycles, values, _ = recording.of(Signal.SERIAL)

    assert bytes(values.tolist()) == b"abc"
    assert list(cycles[1:] - cycles[:-1]) == [640, 640]


def test_a_run_leaves_nothing_to_the_next(bench: RegisterBench) -> None:
    """The part's state belongs to the run: gates, flags and reset causes are not the next one's."""
    rig = Rig(
        bench.image(
            "int main(void) { say(MCUSR); DDRD = PORTD = _BV(PD5); DDRB = PORTB = _BV(PB1);"
            " TCCR1B = _BV(CS11); for (;;) { } }"
        ),
        bench.drive,
    )
    first, second = (rig.run(scenario(0.1, faults=(Fault("reset", 0.09),))) for _ in range(2))

    assert first.digest() == second.digest()
    assert [value for _, value in Told(first).marks[:2]] == [0, PORF]


def test_reset_flags_pile_up_until_they_are_cleared(bench: RegisterBench) -> None:
    """MCUSR, section "Reset Sources": each flag is reset by a power-on or by writing a zero to it."""

    def second_start(line: str) -> int:
        text = f"int main(void) {{ say(MCUSR); {line} for (;;) {{ }} }}"
        marks = Told(bench.run(text, 0.2, faults=(Fault("reset", 0.1),))).marks
        return marks[-1][1]

    assert [second_start(""), second_start("MCUSR = 0;")] == [PORF | EXTRF, EXTRF]
