/* Entry of the plain avr-gcc build; a sketch has its own. SPDX-License-Identifier: MIT */
#include "../../sketch/playfield_probe/board_config.h"
#include "../../sketch/playfield_probe/src/avr/pp_avr.h"

int main(void)
{
    pp_avr_setup();
    for (;;)
        pp_avr_step();
}
