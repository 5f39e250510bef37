/* The check on every line. SPDX-License-Identifier: MIT */
#include "pp_board.h"

/* Takes one byte into a CRC-16/IBM-3740 without a table, eight bits at a time. */
uint16_t pp_crc(uint16_t crc, uint8_t byte)
{
    uint8_t x = (uint8_t)((crc >> 8) ^ byte);
    x = (uint8_t)(x ^ (x >> 4));
    return (uint16_t)((uint16_t)(crc << 8) ^ (uint16_t)((uint16_t)x << 12) ^ (uint16_t)((uint16_t)x << 5) ^ x);
}
