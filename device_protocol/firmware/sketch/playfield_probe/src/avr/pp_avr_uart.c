/* The line: USART 0, received by interrupt and, while a frame goes out, by polling. SPDX-License-Identifier: MIT */
#include "../../board_config.h"

#if defined(__AVR__) && !PP_GENERIC

#include <avr/interrupt.h>
#include <avr/io.h>

#include "pp_avr_internal.h"

#define DIVISOR ((F_CPU + 4UL * PP_AVR_BAUD) / (8UL * PP_AVR_BAUD) - 1) /* rounded, double speed */

#define RING 128 /* a power of two; a whole order fits, so none is lost however long a frame is */
#if PP_LINE > 126 && (PP_FEATURE_PLAY || PP_FEATURE_PATTERN)
#error "PP_LINE above 126: an order that comes during a frame of the board's own clock would not fit into the ring"
#endif

/* A byte of 0x80 and above is forbidden, whatever its value; in the ring such values are marks. */
#define MARK_LOST 0x80    /* bytes are missing here */
#define MARK_LOST_LF 0x81 /* bytes are missing here, and then LF came */
#define MARK_NOISE 0x82   /* a forbidden byte */

static volatile uint8_t ring[RING];
static volatile uint8_t ring_in, ring_out;

/* "The ring was full and bytes were dropped": bit 0 of a spare I/O register, which is quicker than RAM. */
#define DROPPED_REGISTER GPIOR0
#define DROPPED_BIT 0

/* Opens the line: 8 data bits, no parity, 1 stop bit. */
void pp_avr_uart_setup(void)
{
    UBRR0H = (uint8_t)(DIVISOR >> 8);
    UBRR0L = (uint8_t)DIVISOR;
    UCSR0A = 1 << U2X0;
    UCSR0C = (1 << UCSZ01) | (1 << UCSZ00);
    DROPPED_REGISTER = 0;
    UCSR0B = (1 << RXEN0) | (1 << TXEN0) | (1 << RXCIE0);
}

/* Moves the byte that has come into the ring; interrupts are off, and there is a byte.
 *
 * The chip's overrun flag says that bytes are missing before this one; a byte without stop bit counts as lost too. The
 * byte after a loss is given up with it, unless it is LF: so one mark tells all, and this runs in the short low time
 * between two pixels. */
void pp_avr_uart_take(void)
{
    uint8_t status = UCSR0A, byte = UDR0; /* in this order: reading the byte clears its flags */
    uint8_t in = ring_in, next = (in + 1) & (RING - 1);
    if (next == ring_out) {
        DROPPED_REGISTER |= 1 << DROPPED_BIT;
        return;
    }
    if (byte & 0x80)
        byte = MARK_NOISE;
    if ((status & ((1 << DOR0) | (1 << FE0))) || (DROPPED_REGISTER & (1 << DROPPED_BIT))) {
        DROPPED_REGISTER &= (uint8_t)~(1 << DROPPED_BIT);
        byte = byte == '\n' ? MARK_LOST_LF : MARK_LOST;
    }
    ring[in] = byte;
    ring_in = next;
}

ISR(PP_AVR_RECEIVED)
{
    pp_avr_uart_take();
}

/* Is anything in the ring? */
bool pp_avr_uart_waiting(void)
{
    return ring_in != ring_out;
}

/* The next byte in order, PP_LOST or PP_NOTHING. */
int16_t pp_avr_uart_receive(void *self)
{
    (void)self;
    uint8_t out = ring_out;
    if (ring_in == out)
        return PP_NOTHING;
    uint8_t byte = ring[out];
    if (byte == MARK_LOST_LF) {
        ring[out] = '\n'; /* comes next time */
        return PP_LOST;
    }
    ring_out = (out + 1) & (RING - 1);
    return byte == MARK_LOST ? PP_LOST : byte;
}

/* Sends one byte when the transmitter has room. */
void pp_avr_uart_send(void *self, uint8_t byte)
{
    (void)self;
    while (!(UCSR0A & (1 << UDRE0)))
        ;
    UDR0 = byte;
}

#endif
