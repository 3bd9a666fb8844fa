/*
 * conversion.c - nobody waits for a conversion in a handler: pack.c looks for its result at the beat.
 */
#include "drive_port.h"

void on_converter_done(void)
{
}
