/* The name by which sources that are no sketches ask for the functions of sketches. */
#include "sketch.h"
