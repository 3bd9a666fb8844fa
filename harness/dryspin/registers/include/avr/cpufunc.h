/* avr/cpufunc.h - one instruction that does nothing. */
#ifndef DRYSPIN_AVR_CPUFUNC_H
#define DRYSPIN_AVR_CPUFUNC_H

#include <dryspin/calls.h>

#define _NOP() dryspin_nop()

#endif
