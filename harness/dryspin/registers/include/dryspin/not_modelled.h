/*
 * dryspin/not_modelled.h - registers the part has and the rig has not: using one is an error where it is
 * used, never silence. A name that stands in neither file belongs to another part.
 */
#ifndef DRYSPIN_NOT_MODELLED_H
#define DRYSPIN_NOT_MODELLED_H

#define DRYSPIN_MISSING(name, what) \
	extern volatile uint8_t name __attribute__((unavailable("the rig does not model " what)))

DRYSPIN_MISSING(SPCR, "the serial peripheral interface; leave it out of the build for the rig");
DRYSPIN_MISSING(SPSR, "the serial peripheral interface; leave it out of the build for the rig");
DRYSPIN_MISSING(SPDR, "the serial peripheral interface; leave it out of the build for the rig");
DRYSPIN_MISSING(TWBR, "the two-wire interface; leave it out of the build for the rig");
DRYSPIN_MISSING(TWSR, "the two-wire interface; leave it out of the build for the rig");
DRYSPIN_MISSING(TWAR, "the two-wire interface; leave it out of the build for the rig");
DRYSPIN_MISSING(TWDR, "the two-wire interface; leave it out of the build for the rig");
DRYSPIN_MISSING(TWCR, "the two-wire interface; leave it out of the build for the rig");
DRYSPIN_MISSING(TWAMR, "the two-wire interface; leave it out of the build for the rig");
DRYSPIN_MISSING(SPMCSR, "writing the program memory");
DRYSPIN_MISSING(SPL, "the stack pointer: the firmware's stack is the host's");
DRYSPIN_MISSING(SPH, "the stack pointer: the firmware's stack is the host's");
DRYSPIN_MISSING(OSCCAL, "trimming the clock; give the clock's error by clock and the scenario's parts");
DRYSPIN_MISSING(CLKPR, "a divided clock; give the divided frequency as f_cpu_hz");
DRYSPIN_MISSING(ASSR, "timer 2 on a crystal of its own");

#undef DRYSPIN_MISSING

#endif
