/*
 * calls.h - what the compiler is told about calls on the way of a step, which it builds into the handlers
 * where it may. GCC and clang both know these words.
 */
#ifndef CALLS_H
#define CALLS_H

/* Stays a function, so that it can be found and timed in the object code. */
#define APART __attribute__((noinline))

/* Not called in an ordinary step: kept out of its way, small rather than fast. */
#define SELDOM __attribute__((noinline, cold))

#endif
