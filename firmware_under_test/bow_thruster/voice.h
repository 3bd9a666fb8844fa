/*
 * voice.h - tones, played only while the legs are open and the rotor is at rest.
 */
#ifndef VOICE_H
#define VOICE_H

#include <stdint.h>

/*
 * Play `tone` (see tone.h) as soon as the rotor is at rest and the tone under way is over. Legs open,
 * in the state that `state_mark` says.
 */
void voice_say(uint8_t tone, uint8_t state_mark);

/* Every beat, unless voice_is_silent(). */
void voice_beat(void);

/* 1: nothing is played or waits to be. */
uint8_t voice_is_silent(void);

/* Be silent at once, legs open. */
void voice_hush(void);

#endif
