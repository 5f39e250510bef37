/* playfield-probe board firmware: open this folder in the IDE, choose a board with an ATmega328P at 16 MHz, upload.
 * What the board is (pins, pixels, ceiling) is set in board_config.h; wiring and cautions are in ../../README.md.
 * SPDX-License-Identifier: MIT */
#include "src/avr/pp_avr.h"

void setup() { pp_avr_setup(); }

void loop() { pp_avr_step(); }
