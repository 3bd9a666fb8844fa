/*
 * controller.c - the controller as one translation unit, for plant.c's reason: what happens at every edge runs
 * through most of these files.
 */
#include "bench.c"
#include "capture.c"
#include "carriers.c"
#include "comparator.c"
#include "converter.c"
#include "interrupts.c"
#include "legs.c"
#include "limiter.c"
#include "store.c"
#include "supply.c"
#include "timer.c"
#include "trace.c"
#include "watchdog.c"
#include "clock.c"
#include "port.c"
#include "replay.c"
