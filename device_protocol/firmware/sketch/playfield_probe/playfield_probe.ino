/* playfield-probe board firmware: open this folder in the IDE, choose your board, upload. Which boards: ../../README.md.
 * What the board is (pins, pixels, ceiling) is set in board_config.h; wiring and cautions are in ../../README.md.
 * SPDX-License-Identifier: MIT
 */
#include "board_config.h"

#if PP_GENERIC
#include "src/generic/pp_generic.h"

void setup() { pp_generic_setup(); }

void loop() { pp_generic_step(); }
#else
#include "src/avr/pp_avr.h"

void setup() { pp_avr_setup(); }

void loop() { pp_avr_step(); }
#endif
