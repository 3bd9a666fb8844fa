/*
 * settings.h - the thruster's numbers, each with the physics it comes from.
 *
 * Times are ticks of 8 CPU cycles, 0.5 us at 16 MHz (suffix _TICKS) or beats of one millisecond (suffix _MS); duties are
 * counts of 255. The motor meant is a small outrunner: 1000 rpm/V, 0.08 ohm and 28 uH a phase,
 * 7 pole pairs, with a propeller in water, on 9.6 V to 12.6 V (or a laboratory supply of 8 V to
 * 20 V with the propeller off).
 *
 * What stands between #ifndef and #endif is a choice: -DNAME=VALUE, or [firmware] defines of the drive file.
 */
#ifndef SETTINGS_H
#define SETTINGS_H

/* The part's clock, 16 or 8 (its internal oscillator). What counts in milliseconds and microseconds
 * follows it. Ticks that stand for an EMF do not: at 8 MHz, with half the carrier and twice the time for the work
 * of a step, they fit a motor of half the speed per volt. */
#ifndef CPU_MHZ
#define CPU_MHZ 16U
#endif

#define TICKS_PER_US (CPU_MHZ / 8U)
#define TICKS_PER_MS (1000U * TICKS_PER_US)

/* ---- choices ----------------------------------------------------------------------------- */

/* 1: both ways around a neutral stick; 0: forwards only, from the stick's low end over its whole way. */
#ifndef BOTH_WAYS
#define BOTH_WAYS 1U
#endif

/* Electrical degrees, 0 to 20, by which steps come before the middle between two crossings. The current of a
 * winding needs 3 L I / (V + 2 E) to change legs, here 10 A in 50 us; half of that is lost at the beginning of
 * each step. None is on the safe side: an early step takes from the time in which the next crossing shows. Where
 * the crossing was hidden, the step comes an eighth of a step early with or without it. */
#ifndef ADVANCE_DEG
#define ADVANCE_DEG 0U
#endif

/* 1: the delay of a step follows the rotor's acceleration; 0: the mean of the last two gaps holds. The slew of
 * the duty keeps the difference at 2 degrees, and jitter of the crossings enters once more with it. */
#ifndef FOLLOWS_ACCELERATION
#define FOLLOWS_ACCELERATION 0U
#endif

/* Cells of a lithium polymer pack that are watched; 0: none, as on a laboratory supply. */
#ifndef PACK_CELLS
#define PACK_CELLS 0U
#endif

/* 1: a tune at power-on, while the rotor is at rest; arming cuts it short. */
#ifndef GREETING
#define GREETING 0U
#endif

/* ---- throttle ---------------------------------------------------------------------------- */

/* Servo pulses: what lies outside is no pulse of a transmitter but noise or a broken lead. */
#define PULSE_SHORTEST_TICKS (800U * TICKS_PER_US)
#define PULSE_LONGEST_TICKS (2200U * TICKS_PER_US)
#define PULSE_NEUTRAL_TICKS (1500U * TICKS_PER_US)

/* Dead band: stick scatter and trim are some 20 us. The thruster starts a little outside the 40 us
 * promised and stops at 40 us, so that a stick resting on the border does not make it stutter. */
#define DEAD_BAND_TICKS (40U * TICKS_PER_US)
#define DEAD_BAND_LEAVE_TICKS (46U * TICKS_PER_US)
#define FULL_TICKS (400U * TICKS_PER_US)

/* Four frames of 25 ms may be lost before the boat is taken to be out of reach. Until then the last
 * demand holds: a gap that short is a wave or a spark, and stopping for it would be felt. */
#define PULSE_LOSS_TICKS (100UL * TICKS_PER_MS)

/* ---- arming ------------------------------------------------------------------------------ */

/* Half a second of neutral at 20 ms a frame: longer than a stick passes through neutral. Frames last
 * 2.5 ms to 25 ms (400 Hz to 40 Hz); fast ones must last for as long as 25 of 10 ms. */
#define ARMING_PULSES 25U
#define ARMING_TICKS (230UL * TICKS_PER_MS)

/* No transmitter's frame is longer; a longer gap is a missing frame. */
#define FRAME_LONGEST_TICKS (40UL * TICKS_PER_MS)

/* ---- duty -------------------------------------------------------------------------------- */

/* In one-sided chopping the off-time drives against a diode: mean voltage D V - (1 - D) 0.7 V.
 * At 9.6 V this duty leaves 1.7 V, some 1500 rpm with the propeller: the slowest speed at which
 * the comparator's offset (40 mV at the pin, 258 mV of EMF) moves the crossing by 11 degrees only. */
#define DUTY_SLOWEST 62U
#define DUTY_FULL 255U

/* Counts a millisecond. Up: the whole span in 0.4 s, about 3 A more than the steady current for
 * this inertia. Down: the bridge cannot brake in this chopping, so the rotor takes its own time. */
#define DUTY_UP_EVERY_TICKS (2U * TICKS_PER_MS)
#define DUTY_DOWN_EVERY_TICKS (TICKS_PER_MS / 2U)

/* ---- bootstrap --------------------------------------------------------------------------- */

/* 1 uF through some 100 ohm of diode and resistor: ten time constants are 1 ms. The first beat may
 * come at once. */
#define PRECHARGE_MS 2U

/* ---- align ------------------------------------------------------------------------------- */

/*
 * Resistance alone limits the current at rest: (D V - (1 - D) 0.7 V) / 0.17 ohm, 2 A to 4 A on the
 * pack at 28 counts. Little is better: friction, which alone ends the swing (the EMF of the driven
 * pair vanishes at its middle), is then a fifth of the pull instead of a tenth. The first counts
 * only make up for the diode. A rotor that leaves the dead point late needs 0.1 s to come down.
 */
#define ALIGN_DUTY_FIRST 12U
#define ALIGN_DUTY 28U
#define ALIGN_COUNT_MS 2U
#define ALIGNS 2U
/* A try that failed may have pulled against what blocks the rotor: the next one pulls from the other
 * side, half an electrical turn away. */
#define ALIGN_MS 150U

/* ---- ramp -------------------------------------------------------------------------------- */

/* Begins with some 9 A, 85 mNm, and follows the EMF upwards. */
#define RAMP_DUTY 48U
#define RAMP_DUTY_LAST 82U
#define RAMP_EXTRA_STEPS 60U

/* A step of 1.1 ms is 1300 rpm; the EMF there, 0.62 V, is more than twice the worst offset. */
#define HANDOVER_TICKS 2200U
#define HANDOVER_STREAK 6U
#define CAUGHT_STREAK 6U

/* ---- catching ---------------------------------------------------------------------------- */

/* Looks 15 us apart for the first crossing, eleven votes each. */
#define CATCH_LOOK_TICKS 1000U
/* The next one is looked for a quarter of this after it: when its handler has ended, before any rotor crosses again. */
#define CATCH_NEXT_TICKS 100U
/* One to begin with, one that gives the first interval, and a whole electrical turn. */
#define CATCH_STREAK 8U

/* ---- run --------------------------------------------------------------------------------- */

/* From the crossing at the pin to its time stamp: comparator 0.5 us, synchroniser 2 cycles, entry 7, registers
 * 36, reading 4, 3.6 us; from compare match to the first leg: entry 7, registers 36, code and calls 82, 7.8 us.
 * Half a tick is lost in the stamp. That is compiled for size, the port as calls. For speed, the port built in, it
 * takes some 8 us, and steps come a degree early at full stick; where code takes no time, 2.5 us, three degrees. */
#define LATENCY_TICKS 22U

/* 65 us a step, 22 000 rpm: two periods of the carrier. With fewer the crossing, which shows in the
 * on-time only, is no longer found within half a step. 20 V and the fastest winding bring 21 000 rpm. */
#define OVERSPEED_TICKS 130U
/* 40 us a step would be 36 000 rpm, above no-load speed at 20 V: no rotor, only noise. */
#define STEP_SHORTEST_TICKS 80U
/* Four electrical turns without one crossing seen. */
#define PAST_LIMIT 24U
#define LOOK_SHORTEST_TICKS 16U
/* In steps shorter than this, 256 us, the 15 us of the stick's handler are more than 3 degrees, by which it would
 * make the crossing's time stamp late, or the step: and then the current of a late step hides the next crossing.
 * It waits instead, a step and a half at most, less than the shortest pulse: its edges are dated by the capture
 * register. So does the wrap's, without which the clock would date them wrongly. */
#define SHORT_STEP_TICKS 512U

/* ---- stopping ---------------------------------------------------------------------------- */

/* Shorted windings stop the rotor with J R / 2 k^2, 28 ms to 42 ms. */
#define BRAKE_FIRST_MS 100U
#define BRAKE_AGAIN_MS 40U
/* Below 500 rpm the offset hides the EMF; one and a half more time constants, and friction, leave
 * less than 100 rpm of that. */
#define BRAKE_LAST_MS 60U
/* Twelve time constants: what turns now is turned by the water, and held by the brake at the speed at
 * which both torques agree, 180 rpm at 10 mNm, a third of what the align pulls with. Above 400 rpm no start
 * is tried: two changes of mind, of six an electrical turn, in less than 7.2 ms. */
#define BRAKE_HELD_MS 500U
#define SLOW_LOOKS 72U
/* A rotor still turning after this long is turned by the water; the windings need not heat for it. */
#define BRAKE_LONGEST_MS 1000U

#define LISTEN_EVERY_TICKS 200U
#define LISTEN_LOOKS 160U
#define LISTEN_VOTES 16U
#define LISTEN_CHANGES 2U

/* ---- tries ------------------------------------------------------------------------------- */

#define TRIES 4U
#define COOL_DOWN_MS 500U
/* A run this long was a real one: the next loss begins a new count of tries. */
#define TRIES_FORGIVEN_MS 2000U

/* ---- over-current ------------------------------------------------------------------------ */

/* Twice may be a weed in the propeller; more often something is broken. Each time takes an eighth of the
 * duty away, until the stick asks for another direction or none. */
#define TRIPS 3U
#define BACK_OFF_COUNTS 32U

/* ---- pack -------------------------------------------------------------------------------- */

/* At rest: 3.5 V a cell is a tenth of the charge, 3.2 V nothing; below 3 V cells take harm (common
 * practice, no source). */
#define PACK_LOW_MV_A_CELL 3500UL
#define PACK_EMPTY_MV_A_CELL 3200UL
/* 5 V / 1023 behind a divider of 10 kohm and 33 kohm: 21.02 mV. */
#define BUS_MV_A_COUNT 21UL
#define PACK_EVERY_MS 500U
#define PACK_RESULTS 3U
#define PACK_LOW_DUTY 128U

/* ---- calibration ------------------------------------------------------------------------- */

/* Two seconds at 20 ms a frame, one at least: nobody leaves the stick up for so long by mistake. */
#define STICK_UP_TICKS (1700U * TICKS_PER_US)
#define STICK_UP_PULSES 100U
#define STICK_UP_LASTS_TICKS (950UL * TICKS_PER_MS)
/* Half a second, a quarter at least; a hand at rest and a receiver scatter by a few us. */
#define HOLD_PULSES 25U
#define HOLD_LASTS_TICKS (230UL * TICKS_PER_MS)
#define STILL_TICKS (15U * TICKS_PER_US)
/* Half of the least span: another position, not a hand that has shifted. */
#define MOVED_TICKS (100U * TICKS_PER_US)
/* From neutral to either end. Transmitters send 400 us, with travel adjusted 200 us to 600 us. */
#define SPAN_SHORTEST_TICKS (200U * TICKS_PER_US)
#define SPAN_LONGEST_TICKS (700U * TICKS_PER_US)
#define CALIBRATION_LONGEST_MS 10000U

/* ---- tones ------------------------------------------------------------------------------- */

/* 20 us less the part of a tick, and the last look at the clock and opening of the legs, 1 us compiled for size. */
#if TICKS_PER_US == 1U
/* An internal oscillator a tenth slow still ends it in time. */
#define TONE_PULSE_TICKS 17U
#else
#define TONE_PULSE_TICKS 37U
#endif
#define WAITING_EVERY_MS 3000U

/* ---- watchdog ---------------------------------------------------------------------------- */

/* 128 ms. The main line passes at every beat, 1 ms apart, and at every step. */
#define WATCHDOG_DOUBLINGS 3U

#endif
