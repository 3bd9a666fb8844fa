/*
 * plant.c - the plant as one translation unit: its files call each other several times a segment, and a
 * compiler inlines only what it sees. `segment.h` says which file has what.
 */
#include "probe.c"
#include "circuit.c"
#include "shape.c"
#include "terminals.c"
#include "conduction.c"
#include "roots.c"
#include "series.c"
#include "plan.c"
#include "events.c"
#include "sense.c"
#include "energy.c"
#include "advance.c"
