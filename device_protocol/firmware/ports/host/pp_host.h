/* A board in a program: the core on make-believe hardware whose time, line, button and pixels a test holds in its hands.
 * SPDX-License-Identifier: MIT */
#ifndef PP_HOST_H
#define PP_HOST_H

#include <stddef.h>

#include "../../sketch/playfield_probe/src/core/pp_board.h"

#define PP_HOST_IN 65536   /* bytes that may wait to be received */
#define PP_HOST_OUT 262144 /* bytes sent and not yet looked at */

typedef struct pp_host {
    pp_board board;
    uint32_t now_ms;
    bool button_closed;
    uint8_t store[PP_STORE_BYTES]; /* non-volatile: outlasts a restart */
    bool store_used;               /* false: as delivered, all 0xFF */
    uint32_t writes;               /* bytes of it changed since the program began */
    uint32_t writes_left;          /* power goes with the last of them; 0: it stays */
    uint8_t torn;                  /* bits that a write cut short leaves set */
    bool dead;                     /* the power is gone: nothing is written, sent or clocked out */
    uint8_t inputs[(PP_INPUTS + 7) / 8];
    uint8_t unseen_inputs;  /* groups of eight that cannot be seen now, one bit each */
    uint32_t chain_pixels;  /* pixels on every output, for the return wire; 0: no wire */
    int16_t in[PP_HOST_IN]; /* bytes, or PP_LOST */
    size_t in_head, in_tail;
    uint8_t out[PP_HOST_OUT];
    size_t out_length;
    uint8_t frame[PP_OUTPUTS][PP_PIXELS * PP_COLOURS_MAX]; /* the last frame clocked out, as on the wire */
    size_t frame_length[PP_OUTPUTS];
    uint16_t frame_pixels[PP_OUTPUTS];
    uint32_t frames[PP_OUTPUTS]; /* clocked out since the program began */
} pp_host;

/* Cuts the power with the so-manieth write to the non-volatile memory, of which only the bits of `torn` stay set. */
void pp_host_cut(pp_host *host, uint32_t writes, uint8_t torn);

/* Restarts the board; what waited on the line is lost, time goes on. */
void pp_host_restart(pp_host *host, uint8_t cause);

/* Puts one byte, or PP_LOST, on the line to the board; false when the queue is full. */
bool pp_host_feed(pp_host *host, int16_t byte);

/* Lets the board take all that waits. */
void pp_host_settle(pp_host *host);

/* Lets time pass, the board being asked every millisecond. */
void pp_host_wait(pp_host *host, uint32_t ms);

#endif
