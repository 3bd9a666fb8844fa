/*
 * tone.h - what the windings are pulsed with to be heard. Notes only; when to play is voice.h's.
 */
#ifndef TONE_H
#define TONE_H

#include <stdint.h>

#include "drive_port.h"

#define TONE_READY PORT_MARK_TONE_FIRST
#define TONE_WAITING (PORT_MARK_TONE_FIRST + 1U)
#define TONE_CALIBRATING (PORT_MARK_TONE_FIRST + 2U)
#define TONE_STORED (PORT_MARK_TONE_FIRST + 3U)
#define TONE_NOT_STORED (PORT_MARK_TONE_FIRST + 4U)
#define TONE_LOST (PORT_MARK_TONE_FIRST + 5U)
#define TONE_FAULT (PORT_MARK_TONE_FIRST + 6U)
#define TONE_PACK (PORT_MARK_TONE_FIRST + 7U)
#define TONE_GREETING (PORT_MARK_TONE_FIRST + 8U)

/* Make ready to play; `tone` is one of the above. */
void tone_begin(uint8_t tone);

/*
 * In the handler, all legs open: give the pulse that is due. Returns the ticks from its beginning to
 * the next call, 0 when the tone is over.
 */
uint16_t tone_next(void);

#endif
