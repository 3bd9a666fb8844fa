/*
 * avr/interrupt.h - handlers, and interrupts on and off.
 *
 * A handler is a function with its vector's name; the build finds it by that name. Forms whose meaning the
 * rig does not model (naked, non-blocking, aliased handlers) are errors.
 */
#ifndef DRYSPIN_AVR_INTERRUPT_H
#define DRYSPIN_AVR_INTERRUPT_H

#include <avr/io.h>
#include <dryspin/calls.h>

#ifdef __cplusplus
#define DRYSPIN_HANDLER extern "C"
#else
#define DRYSPIN_HANDLER
#endif

/* A handler is entered by the part only: what is called from elsewhere must show. */
#ifdef __clang__
#define DRYSPIN_APART __attribute__((used, noinline))
#else
#define DRYSPIN_APART __attribute__((used, noipa))
#endif

#define ISR_BLOCK
#define ISR(vector, ...) \
	DRYSPIN_HANDLER void vector(void) DRYSPIN_APART __VA_ARGS__; \
	DRYSPIN_HANDLER void vector(void)
#ifdef __cplusplus
#define DRYSPIN_REFUSED(text) static_assert(0, text)
#else
#define DRYSPIN_REFUSED(text) _Static_assert(0, text)
#endif
#define ISR_ALIAS(vector, other) \
	DRYSPIN_REFUSED("ISR_ALIAS is not modelled; call one function from a handler of each vector")
#define SIGNAL(vector) ISR(vector)
#define EMPTY_INTERRUPT(vector) ISR(vector) { }
/* Called for every vector without a handler of its own. */
#define BADISR_vect __vector_default

#define cli() dryspin_cli()
#define sei() dryspin_sei()

#endif
