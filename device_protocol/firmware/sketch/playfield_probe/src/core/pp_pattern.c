/* Patterns that run by the board's own clock (SPEC 5.22). SPDX-License-Identifier: MIT */
#include "pp_internal.h"

#if PP_FEATURE_PATTERN

#define RESEND_MS 5 /* SPEC allows 50; a meter on the data line sees the more, the busier it is */

/* Sum of the values of one colour. */
static uint16_t sum_of(const uint8_t wire[PP_COLOURS_MAX])
{
    return (uint16_t)(wire[0] + wire[1] + wire[2] + wire[3]);
}

/* Clocks the step shown out. */
static void send_step(pp_board *board, uint8_t output)
{
    pp_chain *chain = &board->chains[output];
    pp_pattern *pattern = &chain->pattern;
    pp_wire_colour palette[2] = {{0}};
    uint8_t colour = pattern->kind == PP_WALK ? 0 : (uint8_t)(pattern->steps_done % pattern->colours);
    pp_frame frame;
    memset(&frame, 0, sizeof frame);
    memcpy(palette[1], pattern->colour[colour], sizeof palette[1]);
    frame.count = chain->count;
    frame.latch_us = chain->latch_us;
    frame.colours = chain->colours;
    frame.palette = (const pp_wire_colour *)palette;
    frame.first = pattern->kind == PP_WALK ? (uint16_t)(pattern->steps_done % chain->count) : 0;
    frame.end = pattern->kind == PP_WALK ? (uint16_t)(frame.first + 1) : chain->count;
    pp_send_frame(board, output, &frame);
    uint16_t values = sum_of(palette[1]), lit = (uint16_t)(frame.end - frame.first);
    chain->shown_lit = values ? lit : 0;
    chain->shown_sum = (uint32_t)values * lit;
    pattern->sent_ms = board->port->now_ms(board->self);
}

/* Starts a pattern, unless one of its steps exceeds the ceiling; its colours are in wire order. */
uint8_t pp_pattern_start(pp_board *board, uint8_t output, const pp_pattern *pattern, pp_order *order)
{
    pp_chain *chain = &board->chains[output];
    uint16_t most = 0;
    for (uint8_t i = 0; i < pattern->colours; i++)
        if (sum_of(pattern->colour[i]) > most)
            most = sum_of(pattern->colour[i]);
    uint8_t code = pp_check_ceiling(chain, pattern->kind == PP_WALK ? most : (uint32_t)most * chain->count, order);
    if (code)
        return code;
    pp_take_pixels(board);
    pp_forget_staged(chain);
    pp_forget_palette(chain);
    chain->pattern = *pattern;
    chain->pattern.steps_done = 0;
    chain->pattern.shown_ms = board->port->now_ms(board->self);
    send_step(board, output);
    return PP_OK;
}

/* Goes one step on. */
static void next_step(pp_board *board, uint8_t output, uint32_t now_ms)
{
    pp_pattern *pattern = &board->chains[output].pattern;
    uint8_t before = (uint8_t)(pattern->steps_done % pattern->colours);
    pattern->steps_done++;
    /* From now, not from when it was due: two steps shall not come close together after a delay (SPEC 4.11). */
    pattern->shown_ms = now_ms;
    uint8_t after = (uint8_t)(pattern->steps_done % pattern->colours);
    bool changes = pattern->kind == PP_WALK
                       ? board->chains[output].count > 1
                       : memcmp(pattern->colour[before], pattern->colour[after], sizeof(pp_wire_colour)) != 0;
    if (pattern->line == PP_SEND || (pattern->line == PP_TURNS && !(pattern->steps_done & 1))
        || (pattern->line == PP_ONCE && changes))
        send_step(board, output);
}

/* Minds the patterns of all outputs. */
void pp_pattern_poll(pp_board *board, uint32_t now_ms)
{
    for (uint8_t output = 0; output < PP_OUTPUTS; output++) {
        pp_pattern *pattern = &board->chains[output].pattern;
        if (!pattern->colours)
            continue;
        if (now_ms - pattern->shown_ms >= pattern->step_ms)
            next_step(board, output, now_ms);
        else if ((pattern->line == PP_SEND || (pattern->line == PP_TURNS && !(pattern->steps_done & 1)))
                 && now_ms - pattern->sent_ms >= RESEND_MS)
            send_step(board, output);
    }
}

#endif
