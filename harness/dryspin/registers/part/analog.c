/*
 * analog.c - comparator and ADC, who share one multiplexer.
 *
 * Plus is AIN0, where the neutral hangs. Minus is what the multiplexer selects while ACME is set and the ADC
 * off, else AIN1 (DS40002070A p. 241). So the output is 1 while the phase lies below the neutral. ACI is set by
 * the chosen edge, interrupt on or off, and cleared by the handler's entry or by writing one.
 *
 * A conversion takes 13 ADC clocks, the first after ADEN 25; the input is sampled 1.5 (13.5) clocks in, the
 * channel taken at the start (section "Prescaling and Conversion Timing"). Reading ADCL keeps the result
 * until ADCH has been read.
 */
#include "part.h"
#include "plant.h"

enum { AIN1_PIN = 23, ADC0_PIN = 8, BANDGAP_CHANNEL = 14, GROUND_CHANNEL = 15, BOTH_EDGES = 2 };
static const double BANDGAP_V = 1.1;

static int is_converter_on(void)
{
	return (dryspin_registers[ADCSRA] & BIT(ADEN)) != 0;
}

static uint8_t wired(int pin)
{
	const core_pins *p = config->pins;
	for (uint8_t x = 0; x < 3; x++)
		if (p->phase[x] == pin)
			return x;
	if (p->steady[pin] == 0)
		return MINUS_GROUND;
	return MINUS_UNKNOWN;
}

static uint8_t minus_now(void)
{
	if (dryspin_registers[ACSR] & BIT(ACD))
		return MINUS_GROUND;
	if ((dryspin_registers[ADCSRB] & BIT(ACME)) && !is_converter_on())
		return wired(ADC0_PIN + (dryspin_registers[ADMUX] & 7));
	return wired(AIN1_PIN);
}

static void refuse_other_triggers(void)
{
	uint8_t trigger = dryspin_registers[ADCSRB] & 7;
	if ((dryspin_registers[ADCSRA] & BIT(ADATE)) && trigger != 0)
		part_refuse("conversions started by another unit (ADTS = %d) are not modelled", trigger);
}

static void select_minus(void)
{
	uint8_t minus = minus_now(), blind = minus > 2;
	int was_blind = ctl.converter_on;
	if (minus != part.minus)
		part.selected = part.who;
	part.minus = minus;
	if (!blind && minus != ctl.sense_leg) {
		ctl.sense_leg = minus;
		record(SIGNAL_SENSE_LEG, minus, ctl.now, part.who.pc, part.who.caller);
		bench_set_sense(minus);
	}
	if (blind == was_blind)
		return;
	ctl.converter_on = blind;
	comparator_blinded();
}

void converter_reset(void)
{
	part.sample = part.done = NEVER;
	part.result = part.result_held = part.sampled = 0;
	part.result_locked = 0;
	part.first = 1;
}

/* After the reset, and once more when the program starts. */
void analog_reset(void)
{
	ctl.sense_edge = BOTH_EDGES;
	part.minus = minus_now();
	ctl.converter_on = part.minus > 2;
	if (ctl.converter_on) {
		ctl.pipe_in = ctl.pipe_out = 0;
		if (ctl.sense_above)
			record(SIGNAL_COMPARATOR, 0, ctl.now, 0, 0);
		ctl.sense_above = 0;
	}
}

/* ---- comparator -------------------------------------------------------------------------------- */

static void write_comparator(uint8_t value)
{
	static const uint8_t edge_of[4] = {BOTH_EDGES, 0, PORT_RISES_ABOVE, PORT_FALLS_BELOW};
	uint8_t edge = edge_of[value & 3];
	uint32_t on = value & BIT(ACIE) ? BIT(IRQ_COMPARATOR) : 0;
	if ((value & 3) == 1)
		part_object("ACIS = 1 of ACSR is reserved", 0);
	if (value & BIT(ACBG))
		part_refuse("the bandgap at the comparator (ACBG) is not modelled; [pins] has the neutral at PD6", 0);
	capture_from_comparator((value & BIT(ACIC)) != 0);
	if (edge != ctl.sense_edge)
		record(SIGNAL_SENSE_EDGE, edge, ctl.now, part.who.pc, part.who.caller);
	comparator_select_edge(edge);
	if (value & BIT(ACI))
		ctl.irq_pending &= ~BIT(IRQ_COMPARATOR);
	if ((ctl.irq_enabled & BIT(IRQ_COMPARATOR)) != on)
		record(SIGNAL_SENSE_IRQ, on != 0, ctl.now, part.who.pc, part.who.caller);
	ctl.irq_enabled = (ctl.irq_enabled & ~BIT(IRQ_COMPARATOR)) | on;
	dryspin_registers[ACSR] = value & (uint8_t)~(BIT(ACI) | BIT(ACO));
	select_minus();
}

static uint8_t read_comparator(void)
{
	uint8_t value = dryspin_registers[ACSR] & (uint8_t)~(BIT(ACI) | BIT(ACO));
	/* "The analog comparator cannot use the ADC input MUX when the ADC is shut down" (PRR, PRADC) */
	if ((dryspin_registers[PRR] & BIT(PRADC)) && (dryspin_registers[ADCSRB] & BIT(ACME)))
		part_refuse("PRR (PRADC) shuts the ADC down, whose multiplexer the comparator is to use (ACME)", 0);
	if (part.minus == MINUS_UNKNOWN) {
		if (part.selected.pc != 0)
			part.who = part.selected;
		part_object("the comparator's minus input is at a pin that [pins] names neither as a phase nor as "
		            "steady (ADMUX is 0x%02x)", dryspin_registers[ADMUX]);
	}
	if (part.minus < MINUS_GROUND)
		part.sensed_phases |= BIT(part.minus);
	value |= ctl.irq_pending & BIT(IRQ_COMPARATOR) ? BIT(ACI) : 0;
	if (!ctl.sense_above && !(value & BIT(ACD)))
		value |= BIT(ACO);
	return value;
}

/* ---- ADC --------------------------------------------------------------------------------------- */

static int64_t adc_clock(void)
{
	int adps = dryspin_registers[ADCSRA] & 7;
	return INT64_C(1) << (adps == 0 ? 1 : adps);
}

static void begin_conversion(void)
{
	int first = part.first;
	part.first = 0;
	part.channel = dryspin_registers[ADMUX];
	part.sample = ctl.now + (first ? 27 : 3) * adc_clock() / 2;
	part.done = ctl.now + (first ? 25 : 13) * adc_clock();
}

static void write_converter(uint8_t value)
{
	uint8_t was = dryspin_registers[ADCSRA];
	if (value & BIT(ADIF))
		ctl.irq_pending &= ~BIT(IRQ_CONVERTER);
	ctl.irq_enabled = (ctl.irq_enabled & ~BIT(IRQ_CONVERTER)) | (value & BIT(ADIE) ? BIT(IRQ_CONVERTER) : 0);
	dryspin_registers[ADCSRA] = value & (uint8_t)~(BIT(ADIF) | BIT(ADSC));
	if ((was ^ value) & BIT(ADEN))
		record(SIGNAL_CONVERTER, (value & BIT(ADEN)) != 0, ctl.now, part.who.pc, part.who.caller);
	if (!(value & BIT(ADEN))) {
		part.sample = part.done = NEVER;
		part.first = 1;
	} else if ((value & BIT(ADSC)) && part.done == NEVER) {
		begin_conversion();
	}
	refuse_other_triggers();
	select_minus();
}

static double reference_v(void)
{
	switch (part.channel >> REFS0) {
	case 1:
		return supply_vcc();
	case 3:
		return BANDGAP_V;
	default:
		part_refuse("the ADC's reference is AREF (REFS = %d), where no voltage is known; use AVCC", part.channel >> REFS0);
	}
}

static double channel_v(void)
{
	const core_pins *p = config->pins;
	int channel = part.channel & 15, pin = ADC0_PIN + channel;
	double terminal_v[3];
	if (channel == BANDGAP_CHANNEL)
		return BANDGAP_V;
	if (channel == GROUND_CHANNEL)
		return 0.0;
	if (channel > 5)
		part_object("ADC channel %d is not at a pin of this part", channel);
	if (p->bus == pin)
		return plant.s.v_bus_v * config->bus_divider;
	for (int x = 0; x < 3; x++)
		if (p->phase[x] == pin) {
			plant_terminals(terminal_v);
			return terminal_v[x] * config->bus_divider;
		}
	if (p->steady[pin] != CORE_FLOATING)
		return p->steady[pin] ? supply_vcc() : 0.0;
	part_refuse("converts PC%d, which [pins] names neither as the bus, a phase nor as steady", channel);
}

int64_t converter_next(void)
{
	return part.sample < part.done ? part.sample : part.done;
}

/* Ten bits of the channel against the reference. */
void converter_at(int64_t cycle)
{
	if (part.sample <= cycle) {
		part.sample = NEVER;
		bench_reach(cycle);
		double share = channel_v() / reference_v();
		part.sampled = (uint16_t)(share <= 0.0 ? 0.0 : share >= 1.0 ? 1023.0 : share * 1023.0 + 0.5);
	}
	if (part.done <= cycle) {
		part.done = NEVER;
		if (!part.result_locked)
			part.result = part.sampled;
		ctl.irq_pending |= BIT(IRQ_CONVERTER);
		if (dryspin_registers[ADCSRA] & BIT(ADATE))
			begin_conversion();
	}
}

static uint8_t read_result(uint8_t at)
{
	uint16_t shown = dryspin_registers[ADMUX] & BIT(ADLAR) ? (uint16_t)(part.result << 6) : part.result;
	part.result_locked = at == ADCL;
	return (uint8_t)(at == ADCL ? shown : shown >> 8);
}

void analog_write(uint8_t at, uint8_t value)
{
	switch (at) {
	case ACSR:
		write_comparator(value);
		break;
	case ADCSRA:
		write_converter(value);
		break;
	case ADCSRB: case ADMUX:
		refuse_other_triggers();
		select_minus();
		break;
	default: /* the result is read-only, the digital buffers draw no modelled current */
		break;
	}
}

uint8_t analog_read(uint8_t at)
{
	switch (at) {
	case ACSR:
		return read_comparator();
	case ADCL: case ADCH:
		return read_result(at);
	case ADCSRA:
		return (uint8_t)((dryspin_registers[ADCSRA] & ~(BIT(ADSC) | BIT(ADIF))) | (part.done != NEVER ? BIT(ADSC) : 0) |
		                 (ctl.irq_pending & BIT(IRQ_CONVERTER) ? BIT(ADIF) : 0));
	default:
		return dryspin_registers[at];
	}
}
