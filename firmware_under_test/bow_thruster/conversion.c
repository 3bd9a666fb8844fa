/*
 * conversion.c - the thruster converts nothing: the comparator needs the multiplexer all the time.
 */
#include "drive_port.h"

void on_converter_done(void)
{
}
