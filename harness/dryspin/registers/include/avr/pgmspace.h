/* avr/pgmspace.h - tables in program memory; on the host there is one memory, and reading it is plain. */
#ifndef DRYSPIN_AVR_PGMSPACE_H
#define DRYSPIN_AVR_PGMSPACE_H

#include <stddef.h>
#include <stdint.h>

#define PROGMEM
#define PGM_P const char *
#define PGM_VOID_P const void *
#define PSTR(text) (text)

#define pgm_read_byte(at) (*(const uint8_t *)(at))
#define pgm_read_word(at) (*(const uint16_t *)(at))
#define pgm_read_dword(at) (*(const uint32_t *)(at))
#define pgm_read_float(at) (*(const float *)(at))
#define pgm_read_ptr(at) (*(const void *const *)(at))
#define pgm_read_byte_near(at) pgm_read_byte(at)
#define pgm_read_word_near(at) pgm_read_word(at)
#define pgm_read_dword_near(at) pgm_read_dword(at)
#define memcpy_P(to, from, n) __builtin_memcpy(to, from, n)

#endif
