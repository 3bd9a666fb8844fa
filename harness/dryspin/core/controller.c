/*
 * controller.c - the controller as one translation unit, for plant.c's reason: what happens at every edge runs
 * through most of these files. Where firmware is written for registers, the part's own files take the place of
 * those left out here.
 */
#include "bench.c"
#ifndef DRYSPIN_PART
#include "capture.c"
#include "carriers.c"
#include "converter.c"
#include "interrupts.c"
#include "legs.c"
#include "port.c"
#include "timer.c"
#endif
#include "comparator.c"
#include "limiter.c"
#include "mask.c"
#include "store.c"
#include "supply.c"
#include "trace.c"
#include "watchdog.c"
#include "clock.c"
#include "replay.c"
