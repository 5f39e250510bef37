/* Sends bytes on any AVR chip at 16 MHz whose data port lies in the range of `out` (A to G). SPDX-License-Identifier: MIT */
#include "../../board_config.h"

#if defined(__AVR__) && PP_GENERIC

#include <avr/interrupt.h>

#include "../avr/pp_avr_bits.h"
#include "pp_generic.h"

#define PIECE 240 /* bytes at once; what lies between two pieces is far below 5 us */
#define BYTE_US 10

/* Makes every output pin drive low. */
void pp_generic_pins(void)
{
    uint8_t mask = (uint8_t)(((1u << PP_OUTPUTS) - 1) << PP_AVR_DATA_BIT);
    DATA_PORT &= (uint8_t)~mask;
    DATA_DDR |= mask;
}

/* Interrupts are off meanwhile. */
uint32_t pp_generic_send(uint8_t output, const uint8_t *bytes, size_t size)
{
    uint8_t mask = (uint8_t)(1u << (PP_AVR_DATA_BIT + output));
    uint32_t us = (uint32_t)size * BYTE_US;
    uint8_t status = SREG;
    cli();
    uint8_t high = DATA_PORT | mask, low = DATA_PORT & (uint8_t)~mask;
    while (size) {
        uint8_t piece = size > PIECE ? PIECE : (uint8_t)size;
        send_pixel(bytes, piece, high, low);
        bytes += piece;
        size -= piece;
    }
    SREG = status;
    return us;
}

#endif
