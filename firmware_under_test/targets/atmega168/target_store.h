/*
 * target_store.h - the EEPROM, byte by byte.
 *
 * Neither address nor data may change, and nothing can be read, while EEPE is set (8271E p. 19); the
 * seam asks its callers for that. EEPM1:0 stay 0: erase and write in one operation. There is no boot
 * loader, so no self-programming of the flash can be under way.
 */
#ifndef TARGET_STORE_H
#define TARGET_STORE_H

static inline uint8_t port_store_busy(void)
{
	return (uint8_t)((EECR & _BV(EEPE)) != 0U);
}

static inline uint8_t port_store_read(uint16_t at)
{
	EEAR = at;
	EECR = (uint8_t)(EECR | _BV(EERE));
	return EEDR;
}

/*
 * EEPE within four cycles after EEMPE, else nothing is written (8271H p. 23): two instructions with
 * nothing between them, whatever the compiler makes of the rest, and interrupts off.
 */
static inline void port_store_write(uint16_t at, uint8_t value)
{
	uint8_t status = target_lock();

	if (port_store_busy() == 0U) {
		EEAR = at;
		EEDR = value;
		__asm__ volatile("sbi %0, %1\n\tsbi %0, %2" ::"I"(_SFR_IO_ADDR(EECR)), "I"(EEMPE), "I"(EEPE)
		                 : "memory");
	}
	target_unlock(status);
}

#endif
