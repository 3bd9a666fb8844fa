/*
 * avr/fuse.h - fuses, which the rig reads nothing from: clock, brown-out and start-up are drive.toml's.
 * Data sheet, section "Fuse Bits": a fuse that is programmed reads as 0.
 */
#ifndef DRYSPIN_AVR_FUSE_H
#define DRYSPIN_AVR_FUSE_H

#include <stdint.h>

typedef struct { uint8_t low, high, extended; } __fuse_t;

#define FUSES __fuse_t __fuse __attribute__((used, section(".fuse")))
#define DRYSPIN_FUSE(bit) ((uint8_t)~(1U << (bit)))

#define FUSE_CKSEL0 DRYSPIN_FUSE(0)
#define FUSE_CKSEL1 DRYSPIN_FUSE(1)
#define FUSE_CKSEL2 DRYSPIN_FUSE(2)
#define FUSE_CKSEL3 DRYSPIN_FUSE(3)
#define FUSE_SUT0 DRYSPIN_FUSE(4)
#define FUSE_SUT1 DRYSPIN_FUSE(5)
#define FUSE_CKOUT DRYSPIN_FUSE(6)
#define FUSE_CKDIV8 DRYSPIN_FUSE(7)
#define FUSE_BODLEVEL0 DRYSPIN_FUSE(0)
#define FUSE_BODLEVEL1 DRYSPIN_FUSE(1)
#define FUSE_BODLEVEL2 DRYSPIN_FUSE(2)
#define FUSE_EESAVE DRYSPIN_FUSE(3)
#define FUSE_WDTON DRYSPIN_FUSE(4)
#define FUSE_SPIEN DRYSPIN_FUSE(5)
#define FUSE_DWEN DRYSPIN_FUSE(6)
#define FUSE_RSTDISBL DRYSPIN_FUSE(7)
#define FUSE_BOOTRST DRYSPIN_FUSE(0)
#define FUSE_BOOTSZ0 DRYSPIN_FUSE(1)
#define FUSE_BOOTSZ1 DRYSPIN_FUSE(2)
#define EFUSE_DEFAULT ((uint8_t)(FUSE_BOOTSZ0 & FUSE_BOOTSZ1))

#endif
