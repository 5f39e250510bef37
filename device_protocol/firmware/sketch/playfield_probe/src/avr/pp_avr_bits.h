/* The pixels: one wire, every bit a pulse whose length tells 0 from 1. SPDX-License-Identifier: MIT
 *
 * At 16 MHz a cycle is 62.5 ns. A 0 is high for 5 cycles (312.5 ns) and low for 15 (937.5 ns); a 1 is high for 11
 * (687.5 ns) and low for 10 (625 ns). The high times lie inside both the WS2812B sheet (0: 250 to 550, 1: 650 to 950 ns)
 * and the V5 sheet (0: 220 to 380, 1: 580 to 1,000 ns). Between bytes and pixels the low time is longer, which pixels
 * bear as long as it stays far below their reset time.
 */
#ifndef PP_AVR_BITS_H
#define PP_AVR_BITS_H

#include <avr/io.h>

#if F_CPU != 16000000UL
#error "the pixel timing is counted in cycles of 16 MHz"
#endif

/* PP_AVR_REGISTER(PORT, B) is PORTB. */
#define PP_AVR_JOIN(name, letter) name##letter
#define PP_AVR_REGISTER(name, letter) PP_AVR_JOIN(name, letter)
#define DATA_DDR PP_AVR_REGISTER(DDR, PP_AVR_DATA_PORT)
#define DATA_PORT PP_AVR_REGISTER(PORT, PP_AVR_DATA_PORT)

#if PP_AVR_DATA_BIT + PP_OUTPUTS > 8
#error "the outputs do not fit on one I/O port: lower PP_OUTPUTS or PP_AVR_DATA_BIT"
#endif

/* Clocks out the bytes of one pixel; `high` and `low` are the port's two values. Cycles are counted from each rise. */
static inline __attribute__((always_inline)) void send_pixel(const uint8_t *wire, uint8_t bytes, uint8_t high, uint8_t low)
{
    uint8_t byte, bits;
    __asm__ volatile(
        "1:  ld   %[byte], %a[wire]+  \n"
        "    ldi  %[bits], 8          \n"
        "2:  out  %[port], %[high]    \n" /*  0: rise */
        "    rjmp .+0                 \n" /*  1 */
        "    nop                      \n" /*  3 */
        "    sbrs %[byte], 7          \n" /*  4 */
        "    out  %[port], %[low]     \n" /*  5: fall of a 0 */
        "    lsl  %[byte]             \n" /*  6: the bit goes to carry */
        "    rjmp .+0                 \n" /*  7 */
        "    rjmp .+0                 \n" /*  9 */
        "    out  %[port], %[low]     \n" /* 11: fall of a 1 */
        "    brcs .+0                 \n" /* 12: one cycle more after a 1 */
        "    rjmp .+0                 \n"
        "    rjmp .+0                 \n"
        "    dec  %[bits]             \n"
        "    brne 2b                  \n" /* next rise at 20 after a 0, at 21 after a 1 */
        "    dec  %[bytes]            \n"
        "    brne 1b                  \n"
        : [byte] "=&r"(byte), [bits] "=&d"(bits), [bytes] "+r"(bytes), [wire] "+e"(wire)
        : [port] "I"(_SFR_IO_ADDR(DATA_PORT)), [high] "r"(high), [low] "r"(low)
        : "memory");
}

#endif
