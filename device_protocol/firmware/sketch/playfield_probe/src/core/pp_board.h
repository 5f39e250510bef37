/* The board's half of the probe line protocol, version 1 (SPEC.md): types, the port to hardware, and the three calls.
 *
 * The core is C99, allocates nothing, knows no hardware and keeps no static state: everything is in `pp_board`.
 * A port fills a `pp_port`, calls pp_start() once and pp_poll() for ever.
 * SPDX-License-Identifier: MIT
 */
#ifndef PP_BOARD_H
#define PP_BOARD_H

#include <stdbool.h>
#include <stdint.h>

#include "../../board_config.h"

#ifdef __cplusplus
extern "C" {
#endif

#if PP_OUTPUTS < 1 || PP_OUTPUTS > 16
#error "PP_OUTPUTS shall be 1 to 16 (SPEC 5.3)"
#endif
#if PP_PIXELS < 1 || PP_PIXELS > 65535
#error "PP_PIXELS shall be 1 to 65535 (SPEC 5.3)"
#endif
#if PP_LINE < 64 || PP_LINE > 255
#error "PP_LINE shall be 64 to 255 (SPEC 2.4)"
#endif
#if PP_CEILING_MA < 1 || PP_CEILING_MA > 4000000
#error "PP_CEILING_MA shall be 1 to 4,000,000"
#endif
/* Needs are reckoned in uA with 32 bits; the largest possible one has to fit, and its rounding too. */
#if PP_PIXELS * (4 * PP_CHANNEL_UA + PP_IDLE_UA) > 4294960000
#error "PP_PIXELS x (4 x PP_CHANNEL_UA + PP_IDLE_UA) exceeds 4,294 A: lower one of them"
#endif

#define PP_COLOURS_MAX 4  /* R, G, B, W */
#define PP_PALETTE 16     /* entries of the palette; entry 0 is dark */
#define PP_SILENCE_MS 5000 /* silence time after a restart (SPEC 4.2) */

/* What `receive` of the port answers besides a byte 0 to 255. */
#define PP_NOTHING (-1) /* no byte has come */
#define PP_LOST (-2)    /* bytes were lost here, between the byte before and the next */

/* Causes of a restart (SPEC 7.2). */
enum { PP_CAUSE_POWER, PP_CAUSE_EXTERNAL, PP_CAUSE_BROWNOUT, PP_CAUSE_WATCHDOG, PP_CAUSE_UNKNOWN };

/* One colour, its values in the order in which they go out on the wire. */
typedef uint8_t pp_wire_colour[PP_COLOURS_MAX];

/* A picture on its way out: palette numbers of every pixel, or one run of entry 1 in a chain of entry 0. */
typedef struct pp_frame {
    uint16_t count;                /* pixels */
    uint16_t latch_us;             /* low time after the last bit, at least */
    uint8_t colours;               /* bytes a pixel: 3 or 4 */
    const pp_wire_colour *palette; /* entries, wire order */
    const uint8_t *numbers;        /* 4 bits a pixel, even pixels in the low half; NULL for a run */
    uint16_t first, end;           /* the run: pixels first to end - 1 have entry 1 */
} pp_frame;

/* Points to the wire bytes of one pixel of a frame; inline, for a port has some 2 us between two pixels. */
static inline const uint8_t *pp_frame_pixel(const pp_frame *frame, uint16_t pixel)
{
    uint8_t entry;
    if (frame->numbers) {
        entry = frame->numbers[pixel >> 1];
        entry = (pixel & 1) ? entry >> 4 : entry & 15;
    } else {
        entry = pixel >= frame->first && pixel < frame->end;
    }
    return frame->palette[entry];
}

/* The hardware, as the core sees it. `self` is what pp_start() was given. All functions are called from pp_start() and
 * pp_poll() only, never from an interrupt. */
typedef struct pp_port {
    /* The next byte that came over the line, in order, or PP_LOST where bytes are missing, or PP_NOTHING. */
    int16_t (*receive)(void *self);
    /* Sends one byte; may wait until there is room for it. */
    void (*send)(void *self, uint8_t byte);
    /* Clocks a frame out and returns after its latch time (SPEC 3.7, 4.7, 4.8). */
    void (*send_frame)(void *self, uint8_t output, const pp_frame *frame);
    /* Milliseconds since any fixed moment; wraps at 2^32. */
    uint32_t (*now_ms)(void *self);
    /* Is the step button's contact closed just now? Bounce and all; may be NULL without the feature. */
    bool (*button_closed)(void *self);
} pp_port;

/* One chain: its settings, what it shows, and the picture being staged. */
typedef struct pp_chain {
    uint32_t ceiling_mA;
    uint32_t shown_sum; /* sum of all colour values of the picture shown */
    uint16_t shown_lit; /* pixels of it that are not dark */
    uint16_t count;
    uint16_t latch_us;
    uint8_t colours;
    uint8_t order[PP_COLOURS_MAX]; /* for each byte on the wire, which colour: 0 R, 1 G, 2 B, 3 W */
#if PP_FEATURE_PAINT
    uint16_t staged;
    pp_wire_colour palette[PP_PALETTE];
    uint8_t numbers[(PP_PIXELS + 1) / 2];
#endif
} pp_chain;

/* The whole state of a board. */
typedef struct pp_board {
    const pp_port *port;
    void *self;
    uint32_t started_ms;    /* port time of the restart */
    uint32_t last_order_ms; /* port time of the last valid order */
    uint32_t silence_ms;
#if PP_FEATURE_BUTTON
    uint32_t button_changed_ms; /* since when the contact differs from `button_down` */
    uint32_t button_total;
    uint32_t button_told; /* the total of the last notice */
    bool button_down;     /* debounced */
    bool button_changing;
#endif
    uint16_t crc; /* of the line being sent */
    uint8_t cause;
    uint8_t notice_number;
    bool silence_runs; /* an order came and its silence has not ended yet */
    bool dark_untold;  /* went dark by silence, notice still to be sent */
    bool line_lost, line_overlong, line_forbidden, line_cr;
    uint8_t line_length;
    char line[PP_LINE + 1];
    pp_chain chains[PP_OUTPUTS];
} pp_board;

/* Brings a board up: darkens every output, then sends `restarted`. `cause` is one of PP_CAUSE_... */
void pp_start(pp_board *board, const pp_port *port, void *self, uint8_t cause);

/* Takes what has come, answers at most one line, minds silence and button; false when nothing had come. */
bool pp_poll(pp_board *board);

/* CRC-16/IBM-3740 of one more byte (SPEC 2.6); starts from 0xFFFF. */
uint16_t pp_crc(uint16_t crc, uint8_t byte);

#ifdef __cplusplus
}
#endif

#endif
