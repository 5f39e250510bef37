/* Pictures: reckoned against the ceiling, staged, clocked out (SPEC 4). SPDX-License-Identifier: MIT */
#include "pp_internal.h"

/* Gives a chain the settings it has after a restart (SPEC 4.1). */
void pp_chain_reset(pp_chain *chain)
{
    memset(chain, 0, sizeof *chain);
    chain->ceiling_mA = PP_CEILING_MA;
    chain->count = PP_PIXELS;
    chain->latch_us = 300;
    chain->colours = 3;
    chain->order[0] = 1; /* GRB */
    chain->order[1] = 0;
    chain->order[2] = 2;
}

/* Current in uA of `count` pixels whose colour values have this sum, rounded up (SPEC 4.4); 32 bits suffice. */
uint32_t pp_need_uA(uint16_t count, uint32_t sum)
{
    uint32_t rest = (uint32_t)PP_CHANNEL_UA * (sum % 255);
    return (uint32_t)count * PP_IDLE_UA + (uint32_t)PP_CHANNEL_UA * (sum / 255) + (rest + 254) / 255;
}

/* The same in mA, rounded up. */
uint32_t pp_need_mA(uint16_t count, uint32_t sum)
{
    return (pp_need_uA(count, sum) + 999) / 1000;
}

/* PP_CEILING, with the error's fields filled in, when a picture would exceed its chain's ceiling. */
uint8_t pp_check_ceiling(const pp_chain *chain, uint32_t sum, pp_order *order)
{
    /* Far below the ceiling, as nearly always, no division is needed: sum / 128 is more than sum / 255. */
    if (sum < 32768
        && (uint32_t)chain->count * PP_IDLE_UA + (uint32_t)PP_CHANNEL_UA * ((sum >> 7) + 1) <= chain->ceiling_mA * 1000)
        return PP_OK;
    if (sum == 0 || pp_need_uA(chain->count, sum) <= chain->ceiling_mA * 1000)
        return PP_OK;
    order->need_mA = pp_need_mA(chain->count, sum);
    order->ceiling_mA = chain->ceiling_mA;
    return PP_CEILING;
}

/* Puts a colour into the order in which its chain wants the bytes. */
void pp_to_wire(const pp_chain *chain, const uint8_t rgbw[PP_COLOURS_MAX], pp_wire_colour wire)
{
    for (uint8_t i = 0; i < PP_COLOURS_MAX; i++)
        wire[i] = i < chain->colours ? rgbw[chain->order[i]] : 0;
}

/* Clocks a picture out and notes what it was made of. */
void pp_send_frame(pp_board *board, uint8_t output, const pp_frame *frame)
{
    board->port->send_frame(board->self, output, frame);
#if PP_FEATURE_READBACK
    pp_shown *shown = &board->chains[output].shown;
    shown->kind = frame->raw ? PP_SHOWN_RAW : frame->numbers ? PP_SHOWN_NUMBERS : PP_SHOWN_RUN;
    shown->count = frame->count;
    shown->colours = frame->colours;
    shown->first = frame->first;
    shown->end = frame->end;
    if (shown->kind == PP_SHOWN_RUN)
        memcpy(shown->colour, frame->palette[1], sizeof shown->colour);
#endif
}

/* What is shown cannot be read back any more: the next picture takes its room (SPEC 5.29). */
void pp_forget_shown(pp_chain *chain)
{
#if PP_FEATURE_READBACK
    chain->shown.kind = PP_SHOWN_NONE;
#else
    (void)chain;
#endif
}

/* Clocks out a run of one colour in a dark chain, and notes what is shown. */
static void send_run(pp_board *board, uint8_t output, uint16_t first, uint16_t count, const pp_wire_colour palette[2],
                     uint16_t values)
{
    pp_chain *chain = &board->chains[output];
    pp_frame frame;
    memset(&frame, 0, sizeof frame);
    frame.count = chain->count;
    frame.latch_us = chain->latch_us;
    frame.colours = chain->colours;
    frame.palette = palette;
    frame.first = first;
    frame.end = (uint16_t)(first + count);
    pp_send_frame(board, output, &frame);
    chain->shown_lit = values ? count : 0;
    chain->shown_sum = (uint32_t)values * count;
    pp_forget_staged(chain);
    pp_forget_palette(chain);
    pp_end_pattern(chain);
}

/* Shows `count` pixels from `first` in one colour and the rest dark, unless that exceeds the ceiling. */
uint8_t pp_show_run(pp_board *board, uint8_t output, uint16_t first, uint16_t count,
                    const uint8_t rgbw[PP_COLOURS_MAX], pp_order *order)
{
    pp_wire_colour palette[2] = {{0}};
    uint16_t values = (uint16_t)(rgbw[0] + rgbw[1] + rgbw[2] + rgbw[3]);
    uint8_t code = pp_check_ceiling(&board->chains[output], (uint32_t)values * count, order);
    if (code)
        return code;
    pp_take_pixels(board);
    pp_to_wire(&board->chains[output], rgbw, palette[1]);
    send_run(board, output, first, count, (const pp_wire_colour *)palette, values);
    return PP_OK;
}

/* Darkens one chain; what was staged is forgotten. */
void pp_show_dark(pp_board *board, uint8_t output)
{
    static const pp_wire_colour dark[2] = {{0}};
    pp_take_pixels(board);
    send_run(board, output, 0, 0, dark, 0);
}

/* Darkens every chain. */
void pp_show_all_dark(pp_board *board)
{
    for (uint8_t output = 0; output < PP_OUTPUTS; output++)
        pp_show_dark(board, output);
}

/* Forgets what is staged on a chain. */
void pp_forget_staged(pp_chain *chain)
{
#if PP_FEATURE_PAINT
    chain->staged = 0;
#else
    (void)chain;
#endif
}

/* Forgets a chain's palette: SPEC 5.11 leaves it open, so no host comes to rely on it. */
void pp_forget_palette(pp_chain *chain)
{
#if PP_FEATURE_PAINT
    memset(chain->palette, 0, sizeof chain->palette);
#else
    (void)chain;
#endif
}

/* Ends the pattern that runs on a chain; what it shows stays. */
void pp_end_pattern(pp_chain *chain)
{
#if PP_FEATURE_PATTERN
    chain->pattern.colours = 0;
#else
    (void)chain;
#endif
}

#if PP_FEATURE_PAINT

/* Stages `count` pixels from `first` as one palette entry; they lie within the chain. */
void pp_stage(pp_chain *chain, uint16_t first, uint16_t count, uint8_t entry)
{
    for (; count; first++, count--) {
        uint8_t *pair = &chain->picture[first >> 1];
        *pair = (first & 1) ? (uint8_t)((*pair & 0x0F) | (entry << 4)) : (uint8_t)((*pair & 0xF0) | entry);
    }
    chain->staged = first;
}

/* Shows the staged picture, unless it is incomplete or exceeds the ceiling. */
uint8_t pp_show_staged(pp_board *board, uint8_t output, pp_order *order)
{
    pp_chain *chain = &board->chains[output];
    if (chain->staged < chain->count) {
        order->staged = chain->staged;
        return PP_INCOMPLETE;
    }
    uint16_t values[PP_PALETTE];
    for (uint8_t entry = 0; entry < PP_PALETTE; entry++) {
        const uint8_t *wire = chain->palette[entry];
        values[entry] = (uint16_t)(wire[0] + wire[1] + wire[2] + wire[3]);
    }
    uint32_t sum = 0;
    uint16_t lit = 0;
    for (uint16_t pixel = 0; pixel < chain->count; pixel++) {
        uint8_t pair = chain->picture[pixel >> 1];
        uint16_t value = values[(pixel & 1) ? pair >> 4 : pair & 15];
        sum += value;
        if (value)
            lit++;
    }
    uint8_t code = pp_check_ceiling(chain, sum, order);
    if (code)
        return code;
    pp_take_pixels(board);
    pp_end_pattern(chain);
    pp_frame frame;
    memset(&frame, 0, sizeof frame);
    frame.count = chain->count;
    frame.latch_us = chain->latch_us;
    frame.colours = chain->colours;
    frame.palette = (const pp_wire_colour *)chain->palette;
    frame.numbers = chain->picture;
    pp_send_frame(board, output, &frame);
    chain->shown_lit = lit;
    chain->shown_sum = sum;
    return PP_OK;
}

#endif
