/*
 * target_sense.h - comparator and converter, who share one multiplexer.
 *
 * Plus is AIN0, the neutral; minus is what the multiplexer selects while ACME is set and the ADC is
 * off, else AIN1 (DS40002070A p. 241, same text in the family). So the output is 1 while the phase
 * lies BELOW the neutral, and "rises above" is the output's falling edge.
 *
 * ACI is cleared by writing one: every change of ACSR writes it as zero, or a flag would be lost.
 * GPIOR0 keeps the selected phase while a conversion has the multiplexer.
 */
#ifndef TARGET_SENSE_H
#define TARGET_SENSE_H

/* The converter measures against the controller's own supply. */
#define TARGET_REFERENCE ((uint8_t)_BV(REFS0))
/* Pin ADC3, the bus voltage. */
#define TARGET_BUS_CHANNEL 3U
/* 16 MHz / 128 = 125 kHz; full resolution asks for 50 kHz to 200 kHz (8271H p. 241). */
#define TARGET_CONVERTER_CLOCK ((uint8_t)(_BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0)))

static inline void target_comparator(uint8_t clear, uint8_t set)
{
	target_change(&ACSR, (uint8_t)(_BV(ACI) | clear), set);
}

/*
 * While the ADC is on only the wish is kept: a channel changed within an ADC clock of a conversion's
 * start may be the one converted (section "Changing Channel or Reference Selection").
 */
static inline void port_sense_select(uint8_t leg)
{
	uint8_t status = target_lock();

	GPIOR0 = leg;
	if ((ADCSRA & _BV(ADEN)) == 0U)
		ADMUX = (uint8_t)(TARGET_REFERENCE | leg);
	target_unlock(status);
}

/*
 * "When changing the ACIS1/ACIS0 bits, the Analog Comparator Interrupt must be disabled" (8159E p. 181,
 * same text in the family), else the change itself may call the handler; the flag stays as the change
 * left it.
 */
static inline void port_sense_edge(uint8_t edge)
{
	uint8_t status = target_lock();
	uint8_t enabled = (uint8_t)(ACSR & _BV(ACIE));
	uint8_t choice = (edge == PORT_RISES_ABOVE) ? _BV(ACIS1) : (uint8_t)(_BV(ACIS1) | _BV(ACIS0));

	ACSR = choice;
	ACSR = (uint8_t)(choice | enabled);
	target_unlock(status);
}

static inline uint8_t port_sense_above(void)
{
	return (uint8_t)((ACSR & _BV(ACO)) == 0U);
}

static inline uint8_t port_sense_flag(void)
{
	return (uint8_t)((ACSR & _BV(ACI)) != 0U);
}

static inline void port_sense_clear(void)
{
	target_comparator(0U, _BV(ACI));
}

static inline void port_sense_interrupt(uint8_t on)
{
	target_comparator(_BV(ACIE), (on != 0U) ? _BV(ACIE) : 0U);
}

/* ---- conversions ------------------------------------------------------------------------ */

/*
 * ADIF is cleared by writing one. Here it is, as a stale one would call the handler ahead of the
 * result; the first conversion after ADEN takes 25 ADC clocks, others 13 (section "Prescaling and
 * Conversion Timing"). While one is under way nothing happens.
 */
static inline void port_convert_bus(void)
{
	uint8_t status = target_lock();

	if ((ADCSRA & _BV(ADSC)) == 0U) {
		ADMUX = TARGET_REFERENCE | TARGET_BUS_CHANNEL;
		ADCSRA = (uint8_t)((ADCSRA & _BV(ADIE)) | _BV(ADEN) | _BV(ADSC) | _BV(ADIF) |
		                   TARGET_CONVERTER_CLOCK);
	}
	target_unlock(status);
}

static inline uint8_t port_convert_busy(void)
{
	return (uint8_t)((ADCSRA & _BV(ADSC)) != 0U);
}

/* ADCL first: reading it keeps ADCH until that is read too (section "ADC Conversion Result"). */
static inline uint16_t port_converted(void)
{
	uint8_t status = target_lock();
	uint16_t counts = ADC;

	target_unlock(status);
	return counts;
}

static inline void port_convert_interrupt(uint8_t on)
{
	target_change(&ADCSRA, (uint8_t)(_BV(ADIF) | _BV(ADIE)), (on != 0U) ? _BV(ADIE) : 0U);
}

static inline void port_convert_off(void)
{
	uint8_t status = target_lock();

	ADCSRA = (uint8_t)(ADCSRA & _BV(ADIE));
	ADMUX = (uint8_t)(TARGET_REFERENCE | GPIOR0);
	target_unlock(status);
}

#endif
