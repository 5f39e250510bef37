/* The core on any board with an Arduino core: call pp_generic_setup() once, pp_generic_step() for ever.
 *
 * A chip needs the two functions below and nothing else. src/generic has them for AVR chips at 16 MHz and for the RP2040; for
 * another chip write them in a file of your own in the sketch folder.
 * SPDX-License-Identifier: MIT */
#ifndef PP_GENERIC_H
#define PP_GENERIC_H

#include <stddef.h>

#include "../core/pp_board.h"

#ifdef __cplusplus
extern "C" {
#endif

void pp_generic_setup(void);
void pp_generic_step(void);

/* Makes every output pin drive low. Called once, before anything is sent. */
void pp_generic_pins(void);

/* Clocks `size` bytes out on an output, each most significant bit first, with the times of SPEC 4.8, and returns when the last
 * bit is out. Answers for how many us millis() stood still meanwhile: 0 where interrupts went on. */
uint32_t pp_generic_send(uint8_t output, const uint8_t *bytes, size_t size);

#ifdef __cplusplus
}
#endif

#endif
