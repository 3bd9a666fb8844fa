/* Linked after the firmware: with fw_begin.c it brackets the firmware's own variables. */
#pragma GCC visibility push(hidden)
unsigned char fw_data_end[1] __attribute__((section(".data"))) = {1};
unsigned char fw_bss_end[1] __attribute__((section(".bss")));
unsigned char fw_noinit_end[1] __attribute__((section(".noinit")));
