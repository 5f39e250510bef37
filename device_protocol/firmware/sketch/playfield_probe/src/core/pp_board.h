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
#if PP_CHANNEL_UA < 0 || PP_CHANNEL_UA > 1000000 || PP_IDLE_UA < 0 || PP_IDLE_UA > 1000000
#error "PP_CHANNEL_UA and PP_IDLE_UA shall be 0 to 1,000,000 (SPEC 5.3)"
#endif
/* Needs are computed in uA with 32 bits; the largest possible one has to fit, and its rounding too. */
#if PP_PIXELS * (4 * PP_CHANNEL_UA + PP_IDLE_UA) > 4294960000
#error "PP_PIXELS x (4 x PP_CHANNEL_UA + PP_IDLE_UA) exceeds 4,294 A: lower one of them"
#endif

#if PP_FEATURE_PLAY && !PP_FEATURE_TABLE
#error "PP_FEATURE_PLAY needs PP_FEATURE_TABLE (SPEC 6.1)"
#endif
#if PP_FEATURE_TABLE && (PP_STORE_BYTES < 64 || PP_STORE_BYTES > 65534)
#error "PP_STORE_BYTES shall be 64 to 65,534"
#endif
#if PP_FEATURE_PLAY && (PP_LAMPS < 0 || PP_LAMPS > 65535 || PP_GROUPS < 1 || PP_GROUPS > 64)
#error "PP_LAMPS shall be 0 to 65,535, PP_GROUPS 1 to 64 (SPEC 12.5)"
#endif
#if PP_FEATURE_PLAY && (PP_PLAY_PIXELS < 1 || PP_PLAY_PIXELS > 4096)
#error "PP_PLAY_PIXELS shall be 1 to 4,096 (SPEC 12.5)"
#endif
#if PP_FEATURE_INPUTS && (PP_INPUTS < 1 || PP_INPUTS > 255)
#error "PP_INPUTS shall be 1 to 255"
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

/* What a table image may take of the memory; the rest of each half is its head. */
#define PP_TABLE_HEAD 12
#define PP_TABLE_CAPACITY (PP_STORE_BYTES / 2 - PP_TABLE_HEAD)

/* Keys of lamps and groups: lamps by their number, groups behind them. */
#define PP_KEYS (PP_LAMPS + 1 + PP_GROUPS)

/* Bytes for one picture: 4 bits a pixel when painted, 3 bytes a pixel when the table lights it. */
#define PP_PAINT_BYTES (PP_FEATURE_PAINT ? (PP_PIXELS + 1) / 2 : 0)
#define PP_PLAY_BYTES (PP_FEATURE_PLAY ? 3 * PP_PLAY_PIXELS : 0)
#define PP_PICTURE_BYTES (PP_PAINT_BYTES > PP_PLAY_BYTES ? PP_PAINT_BYTES : PP_PLAY_BYTES)

/* A picture on its way out: wire bytes of every pixel, or palette numbers of every pixel, or one run of entry 1 in a chain
 * of entry 0. */
typedef struct pp_frame {
    uint16_t count;                /* pixels */
    uint16_t latch_us;             /* low time after the last bit, at least */
    uint8_t colours;               /* bytes a pixel: 3 or 4 */
    const uint8_t *raw;            /* `colours` bytes for every pixel, wire order; NULL for the other two kinds */
    const pp_wire_colour *palette; /* entries, wire order */
    const uint8_t *numbers;        /* 4 bits a pixel, even pixels in the low half; NULL for a run */
    uint16_t first, end;           /* the run: pixels first to end - 1 have entry 1 */
} pp_frame;

/* Points to the wire bytes of one pixel of a frame; inline, for a port has some 2 us between two pixels. */
static inline const uint8_t *pp_frame_pixel(const pp_frame *frame, uint16_t pixel)
{
    uint8_t entry;
    if (frame->raw)
        return frame->raw + (uint32_t)pixel * frame->colours;
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
    /* A byte of the non-volatile memory, at 0 to PP_STORE_BYTES - 1. */
    uint8_t (*store_read)(void *self, uint16_t at);
    /* Changes one; returns when it is done. Does nothing when the byte is there already. */
    void (*store_write)(void *self, uint16_t at, uint8_t byte);
    /* Lamp inputs 8 x group + 1 to 8 x group + 8, the first in the lowest bit; false while they cannot be seen, as those of a
     * matrix whose column is not strobed. */
    bool (*read_inputs)(void *self, uint8_t group, uint8_t *bits);
    /* Clocks a frame out as `send_frame` does and returns how many edges came back by the return wire. */
    uint32_t (*count_edges)(void *self, uint8_t output, const pp_frame *frame);
} pp_port;

/* A pattern that runs by the board's own clock (SPEC 5.22). */
typedef struct pp_pattern {
    uint32_t step_ms;
    uint32_t shown_ms; /* when the step shown began */
    uint32_t sent_ms;  /* when the last frame went out */
    uint32_t steps_done;
    uint8_t kind, line, keep;
    uint8_t colours; /* 0: no pattern runs */
    pp_wire_colour colour[4];
} pp_pattern;

#if PP_FEATURE_READBACK
/* What the last picture was made of, for `readback`: `kind` is one of PP_SHOWN_... of pp_internal.h. */
typedef struct pp_shown {
    pp_wire_colour colour; /* of the run */
    uint16_t count, first, end;
    uint8_t colours, kind;
} pp_shown;
#endif

/* One chain: its settings, what it shows, and the picture being staged. */
typedef struct pp_chain {
    uint32_t ceiling_mA;
    uint32_t shown_sum; /* sum of all colour values of the picture shown */
    uint16_t shown_lit; /* pixels of it that are not dark */
    uint16_t count;
    uint16_t latch_us;
    uint8_t colours;
    uint8_t order[PP_COLOURS_MAX]; /* for each byte on the wire, which colour: 0 R, 1 G, 2 B, 3 W */
#if PP_FEATURE_PATTERN
    pp_pattern pattern;
#endif
#if PP_FEATURE_READBACK
    pp_shown shown;
#endif
#if PP_FEATURE_PAINT
    uint16_t staged;
    pp_wire_colour palette[PP_PALETTE];
#endif
#if PP_FEATURE_PAINT || PP_FEATURE_PLAY
    uint8_t picture[PP_PICTURE_BYTES]; /* palette numbers, or wire bytes when the table lights it */
#endif
} pp_chain;

#if PP_FEATURE_TABLE
/* The lamp table in force, and what is staged in the other half of the memory. */
typedef struct pp_table {
    uint32_t revision; /* 0: none */
    uint16_t length, crc;
    uint16_t staged;
    uint8_t half; /* where the table in force is; staging goes to the other */
} pp_table;
#endif

#if PP_FEATURE_INPUTS
/* Lamp inputs (SPEC 14). */
typedef struct pp_inputs {
    uint32_t looked_ms, told_ms;
    uint16_t edges[PP_INPUTS];
    uint8_t left[PP_INPUTS]; /* ms until an input counts as off */
    uint8_t raw[(PP_INPUTS + 7) / 8], on[(PP_INPUTS + 7) / 8];
    uint8_t linger_ms;
    bool watched, untold, told;
} pp_inputs;
#endif

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
#if PP_FEATURE_TABLE
    pp_table table;
#endif
#if PP_FEATURE_PLAY
    uint8_t asked[PP_KEYS], shown[PP_KEYS]; /* levels of lamps and groups */
#if PP_PLAY_TINT
    uint8_t tint[PP_KEYS]; /* 1 + number of a colour record, 0: as the entry says */
#endif
    uint32_t play_ms;       /* when the levels last moved */
    uint32_t dark_ms;       /* when the board went dark by silence */
    bool game;              /* the game has the pixels */
    bool redraw;            /* the game's picture may have changed */
    bool table_lit;         /* what is lit was lit by the table */
    bool give_back;         /* the game gets the pixels 1 s after dark_ms */
    bool game_untold;       /* notice `play game` still to be sent */
#endif
#if PP_FEATURE_INPUTS
    pp_inputs inputs;
#endif
    uint16_t crc; /* of the line being sent */
    uint8_t cause;
    uint8_t notice_number;
    bool silence_runs; /* an order came and its silence has not ended yet */
    bool dark_untold;  /* went dark by silence, notice still to be sent */
    bool line_lost, line_overlong, line_forbidden, line_cr;
    uint8_t line_length;
    uint8_t line_star; /* where the first `*` of the line is; PP_NO_STAR: none yet */
    uint16_t line_crc; /* of the bytes before it, taken in as they come: then a reply need not wait for it */
    char line[PP_LINE + 1];
    pp_chain chains[PP_OUTPUTS];
} pp_board;

/* Brings a board up: darkens every output, then sends `restarted`. `cause` is one of PP_CAUSE_... */
void pp_start(pp_board *board, const pp_port *port, void *self, uint8_t cause);

/* Takes what has come, answers at most one line, minds silence and button; false when nothing had come. */
bool pp_poll(pp_board *board);

#if PP_FEATURE_PLAY

/* For a board's own game program, which calls these beside pp_poll(): what the game says of its lamps. The table decides
 * which pixels that is and in which colour; nothing is lit while a host has the pixels, and nothing is forgotten either. */

/* The game says that a lamp is on or off. A number above PP_LAMPS does nothing. */
void pp_lamp_on(pp_board *board, uint16_t lamp, bool on);

/* The game wants a lamp at a level, 0 to 255; it gets there by the table's rise and fall. */
void pp_lamp_level(pp_board *board, uint16_t lamp, uint8_t level);

/* The same for a group. */
void pp_group_level(pp_board *board, uint8_t group, uint8_t level);

#if PP_PLAY_TINT
/* Gives a lamp another colour of the table, by its number 0 to 14; -1 takes it back to its own. */
void pp_lamp_colour(pp_board *board, uint16_t lamp, int8_t colour);
#endif

/* A pixel that the table gives a lamp: the `nth`, from 0; false when there is none. */
bool pp_lamp_pixel(pp_board *board, uint16_t lamp, uint16_t nth, uint8_t *output, uint16_t *pixel);

/* Does the game have the pixels just now? */
bool pp_game_has_pixels(const pp_board *board);

#endif

/* CRC-16/IBM-3740 of one more byte (SPEC 2.6); starts from 0xFFFF. */
uint16_t pp_crc(uint16_t crc, uint8_t byte);

#ifdef __cplusplus
}
#endif

#endif
