/* Linked before the firmware: with fw_end.c it brackets the firmware's own variables. */
#pragma GCC visibility push(hidden)
unsigned char fw_data_begin[1] __attribute__((section(".data"))) = {1};
unsigned char fw_bss_begin[1] __attribute__((section(".bss")));
unsigned char fw_noinit_begin[1] __attribute__((section(".noinit")));
