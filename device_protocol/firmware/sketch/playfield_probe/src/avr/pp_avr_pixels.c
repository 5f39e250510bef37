/* Frames: picture by picture, bytes of the line taken between pixels. SPDX-License-Identifier: MIT */
#include "../../board_config.h"

#if defined(__AVR__) && !PP_GENERIC

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/wdt.h>

#include "pp_avr_bits.h"
#include "pp_avr_internal.h"

/* Makes every output pin drive low. */
void pp_avr_pixels_setup(void)
{
    uint8_t mask = (uint8_t)(((1u << PP_OUTPUTS) - 1) << PP_AVR_DATA_BIT);
    DATA_PORT &= (uint8_t)~mask;
    DATA_DDR |= mask;
}

/* Takes a byte of the line if one has come: it has some 2 us, between two pixels. */
static inline __attribute__((always_inline)) void mind_line(void)
{
    if (UCSR0A & (1 << RXC0))
        pp_avr_uart_take();
}

/* Clocks out a run of one colour in a dark chain; one loop, for a call between two pixels would take too long. */
static __attribute__((noinline)) void send_run(const pp_frame *frame, uint8_t high, uint8_t low)
{
    const uint8_t *palette = frame->palette[0];
    uint16_t count = frame->count, length = frame->end - frame->first;
    uint16_t from_first = (uint16_t)-frame->first; /* pixel number less that of the first in the run, modulo 2^16 */
    uint8_t bytes = frame->colours;
    while (count--) {
        mind_line();
        const uint8_t *wire = palette;
        if (from_first < length)
            wire += sizeof(pp_wire_colour);
        from_first++;
        send_pixel(wire, bytes, high, low);
    }
}

/* Clocks out pixels given by palette numbers, two a byte. Kept apart so that all it needs stays in registers. */
static __attribute__((noinline)) void send_numbers(const pp_frame *frame, uint8_t high, uint8_t low)
{
    const uint8_t *numbers = frame->numbers, *palette = frame->palette[0];
    uint16_t count = frame->count;
    uint8_t bytes = frame->colours;
    for (;;) {
        mind_line();
        uint8_t pair = *numbers++;
        send_pixel(palette + (uint8_t)((pair & 15) * sizeof(pp_wire_colour)), bytes, high, low);
        if (--count == 0)
            return;
        mind_line();
        send_pixel(palette + (uint8_t)((pair >> 4) * sizeof(pp_wire_colour)), bytes, high, low);
        if (--count == 0)
            return;
    }
}

/* Clocks out pixels given by their wire bytes. */
static __attribute__((noinline)) void send_raw(const pp_frame *frame, uint8_t high, uint8_t low)
{
    const uint8_t *wire = frame->raw;
    uint16_t count = frame->count;
    uint8_t bytes = frame->colours;
    while (count--) {
        mind_line();
        send_pixel(wire, bytes, high, low);
        wire += bytes;
    }
}

/* Ends a frame: interrupts on, and the line low for the latch time. */
static void wait_latch(const pp_frame *frame)
{
    uint16_t latch_begins = TCNT1;
    sei();
    /* One step more than whole, for the first may have been nearly over. */
    uint16_t ticks = (frame->latch_us + PP_AVR_TICK_US - 1) / PP_AVR_TICK_US + 1;
    while ((uint16_t)(TCNT1 - latch_begins) < ticks)
        ;
    (void)pp_avr_now_ms(0); /* many long frames in a row would let timer 1 run round unseen */
}

#if PP_FEATURE_COUNT

/* Clocks out dark pixels and counts the edges that come back to T0, which counts them in hardware: 24 or 32 a pixel, so that
 * its eight bits are read in time. The line is not minded meanwhile: the host waits for the reply. */
static __attribute__((noinline)) uint32_t count_run(const pp_frame *frame, uint8_t high, uint8_t low)
{
    uint32_t edges = 0;
    uint16_t count = frame->count;
    uint8_t bytes = frame->colours, seen = TCNT0;
    while (count--) {
        uint8_t now = TCNT0;
        edges += (uint8_t)(now - seen);
        seen = now;
        send_pixel(frame->palette[0], bytes, high, low);
    }
    wait_latch(frame); /* the last of them pass along the chain */
    return edges + (uint8_t)(TCNT0 - seen);
}

/* Clocks out a dark frame and returns how many edges came back. */
uint32_t pp_avr_count_edges(void *self, uint8_t output, const pp_frame *frame)
{
    uint8_t mask = (uint8_t)(1u << (PP_AVR_DATA_BIT + output));
    (void)self;
#if PP_AVR_WATCHDOG
    wdt_reset();
#endif
    PP_AVR_T0_DDR &= (uint8_t)~(1u << PP_AVR_T0_BIT);
    PP_AVR_T0_PORT |= 1u << PP_AVR_T0_BIT; /* a pull-up: with no wire there are no edges */
    TCCR0A = 0;
    TCCR0B = (1 << CS02) | (1 << CS01) | (1 << CS00); /* T0, rising edges */
    cli();
    uint32_t edges = count_run(frame, DATA_PORT | mask, DATA_PORT & (uint8_t)~mask);
    TCCR0B = 0;
    return edges;
}

#endif

/* Clocks a frame out with interrupts off, taking bytes of the line between pixels, and waits for the latch. */
void pp_avr_send_frame(void *self, uint8_t output, const pp_frame *frame)
{
    uint8_t mask = (uint8_t)(1u << (PP_AVR_DATA_BIT + output));
    (void)self;
#if PP_AVR_WATCHDOG
    wdt_reset();
#endif
    cli();
    uint8_t high = DATA_PORT | mask, low = DATA_PORT & (uint8_t)~mask;
    if (frame->raw)
        send_raw(frame, high, low);
    else if (frame->numbers)
        send_numbers(frame, high, low);
    else
        send_run(frame, high, low);
    wait_latch(frame);
}

#endif
