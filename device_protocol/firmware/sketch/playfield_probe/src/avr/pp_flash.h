/* Keeps the core's constant texts and tables in program memory on an AVR. SPDX-License-Identifier: MIT */
#ifndef PP_FLASH_H
#define PP_FLASH_H

#include <avr/pgmspace.h>

/* The IDE builds for size, which makes an order wait 70 us longer for its light; for 2 kB more it need not. */
#pragma GCC optimize("O2")

#define PP_FLASH PROGMEM
#define PP_FLASH_TEXT(literal) PSTR(literal)
#define PP_FLASH_BYTE(address) pgm_read_byte(address)
#define PP_FLASH_COPY(to, from, size) memcpy_P((to), (from), (size))

#endif
