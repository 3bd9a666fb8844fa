/*
 * supply.c - the controller's own supply: regulator, brown-out, outages of the source.
 *
 * The regulator gives its voltage, or the bus less its drop. Below the brown-out level the
 * controller is held in reset; 50 mV above it, it starts anew. Looked at where the plant's segments
 * end, every 50 us at most.
 */
#include "controller.h"

#define HYSTERESIS_V 0.05
/* Below this the part has forgotten everything: the next start is a power-on. Data sheet, typical. */
#define POWER_ON_V 1.3
/* A reset lets a write of the store finish "provided that the power supply voltage is sufficient":
 * the least supply of the part. */
#define STORE_V 1.8

double supply_vcc(void)
{
	double behind = plant.s.v_bus_v - config->regulator_drop_v;
	behind = behind < config->v_controller_v ? behind : config->v_controller_v;
	return behind > 0.0 ? behind : 0.0;
}

/* Of the source: 1 while an outage is on. */
int supply_out(int64_t cycle)
{
	for (int32_t k = 0; k < config->n_outage; k++)
		if (cycle >= config->outage[k].from && cycle < config->outage[k].to)
			return 1;
	return 0;
}

int64_t supply_next_edge(int64_t cycle)
{
	for (int32_t k = 0; k < config->n_outage; k++) {
		if (config->outage[k].from > cycle)
			return config->outage[k].from;
		if (config->outage[k].to > cycle)
			return config->outage[k].to;
	}
	return NEVER;
}

/* The beginning of the next power cut: one that takes the controller's supply at the same moment. */
int64_t supply_next_cut(void)
{
	while (ctl.outage_at < config->n_outage && !config->outage[ctl.outage_at].at_once)
		ctl.outage_at++;
	return ctl.outage_at < config->n_outage ? config->outage[ctl.outage_at].from : NEVER;
}

void supply_cut(int64_t cycle)
{
	ctl.dead_until = config->outage[ctl.outage_at++].to;
	ctl.forgotten = 1;
	ctl.held = 1; /* dead already: no brown-out follows */
	store_power_lost(cycle);
	host_reset_request(cycle, PORT_RESET_POWER_ON);
}

/* 1 while the controller cannot run. */
int supply_holds(void)
{
	double vcc = supply_vcc();
	if (vcc < POWER_ON_V)
		ctl.forgotten = 1;
	return ctl.now < ctl.dead_until || vcc < config->brown_out_v + HYSTERESIS_V;
}

void supply_watch(void)
{
	if (supply_vcc() >= config->brown_out_v)
		return;
	int64_t cycle = (int64_t)(plant.s.t_s * config->f_cpu_hz + 0.5);
	if (supply_vcc() < STORE_V)
		store_power_lost(cycle);
	if (ctl.held)
		return;
	ctl.held = 1;
	host_reset_request(cycle, PORT_RESET_BROWN_OUT);
}
