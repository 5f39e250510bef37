/* The orders (SPEC 5): each checks its arguments from left to right, acts, and begins its reply.
 * SPDX-License-Identifier: MIT */
#include "pp_internal.h"

#define LATCH_MIN_US 280
#define LATCH_MAX_US 1000
#define SILENCE_MIN_MS 500
#define SILENCE_MAX_MS 60000

/* Reads the OUTPUT argument, which is always the first. */
uint8_t pp_read_output(const pp_order *order, uint8_t *output)
{
    uint32_t number;
    if (!pp_parse_number(order->argument[0], &number))
        return PP_BAD_VALUE;
    if (number >= PP_OUTPUTS)
        return PP_NO_SUCH_OUTPUT;
    *output = (uint8_t)number;
    return PP_OK;
}

/* Reads a pixel number of a chain. */
static uint8_t read_pixel(const char *text, const pp_chain *chain, uint16_t *pixel)
{
    uint32_t number;
    if (!pp_parse_number(text, &number))
        return PP_BAD_VALUE;
    if (number >= chain->count)
        return PP_NO_SUCH_PIXEL;
    *pixel = (uint16_t)number;
    return PP_OK;
}

/* Reads a colour that a chain can show. */
uint8_t pp_read_colour(const char *text, const pp_chain *chain, uint8_t rgbw[PP_COLOURS_MAX])
{
    if (!pp_parse_colour(text, rgbw) || (rgbw[3] && chain->colours < 4))
        return PP_BAD_VALUE;
    return PP_OK;
}

/* The names of the features built in, joined by commas in the order of SPEC 6, or `none`. */
#if PP_FEATURE_SETUP
#define NAME_SETUP ",setup"
#else
#define NAME_SETUP ""
#endif
#if PP_FEATURE_RANGE
#define NAME_RANGE ",range"
#else
#define NAME_RANGE ""
#endif
#if PP_FEATURE_SILENCE
#define NAME_SILENCE ",silence"
#else
#define NAME_SILENCE ""
#endif
#if PP_FEATURE_PAINT
#define NAME_PAINT ",paint"
#else
#define NAME_PAINT ""
#endif
#if PP_FEATURE_BUTTON
#define NAME_BUTTON ",button"
#else
#define NAME_BUTTON ""
#endif
#if PP_FEATURE_TABLE
#define NAME_TABLE ",table"
#else
#define NAME_TABLE ""
#endif
#if PP_FEATURE_PLAY
#define NAME_PLAY ",play"
#else
#define NAME_PLAY ""
#endif
#if PP_FEATURE_PATTERN
#define NAME_PATTERN ",pattern"
#else
#define NAME_PATTERN ""
#endif
#if PP_FEATURE_INPUTS
#define NAME_INPUTS ",inputs"
#else
#define NAME_INPUTS ""
#endif
#if PP_FEATURE_COUNT
#define NAME_COUNT ",count"
#else
#define NAME_COUNT ""
#endif
#if PP_FEATURE_READBACK
#define NAME_READBACK ",readback"
#else
#define NAME_READBACK ""
#endif
static const char features[] PP_FLASH = NAME_SETUP NAME_RANGE NAME_SILENCE NAME_PAINT NAME_BUTTON NAME_TABLE NAME_PLAY
    NAME_PATTERN NAME_INPUTS NAME_COUNT NAME_READBACK;

/* id: states what the board is and can do. */
static uint8_t order_id(pp_board *board, pp_order *order)
{
    pp_reply_ok(board, order);
    pp_put_text(board, PP_FLASH_TEXT(" proto=1 board=" PP_BOARD_NAME " build=" PP_BUILD_NAME));
    pp_put_key_number(board, PP_FLASH_TEXT("line="), PP_LINE);
    pp_put_key_number(board, PP_FLASH_TEXT("outputs="), PP_OUTPUTS);
    pp_put_key_number(board, PP_FLASH_TEXT("pixels="), PP_PIXELS);
    pp_put_key_number(board, PP_FLASH_TEXT("ceiling="), PP_CEILING_MA);
    pp_put_key_number(board, PP_FLASH_TEXT("channel="), PP_CHANNEL_UA);
    pp_put_key_number(board, PP_FLASH_TEXT("idle="), PP_IDLE_UA);
    pp_put_key_number(board, PP_FLASH_TEXT("silence="), board->silence_ms);
    pp_put_key_number(board, PP_FLASH_TEXT("uptime="), board->port->now_ms(board->self) - board->started_ms);
    pp_put_text(board, PP_FLASH_TEXT(" cause="));
    pp_put_cause(board);
#if PP_FEATURE_TABLE
    pp_put_key_number(board, PP_FLASH_TEXT("table="), board->table.revision);
#else
    pp_put_text(board, PP_FLASH_TEXT(" table=0"));
#endif
    pp_put_text(board, PP_FLASH_TEXT(" features="));
    pp_put_text(board, sizeof features > 1 ? features + 1 : PP_FLASH_TEXT("none")); /* without its first comma */
    return PP_OK;
}

/* light OUTPUT PIXEL COLOUR */
static uint8_t order_light(pp_board *board, pp_order *order)
{
    uint8_t output, rgbw[PP_COLOURS_MAX], code;
    uint16_t pixel;
    if ((code = pp_read_output(order, &output)))
        return code;
    const pp_chain *chain = &board->chains[output];
    if ((code = read_pixel(order->argument[1], chain, &pixel)) || (code = pp_read_colour(order->argument[2], chain, rgbw))
        || (code = pp_show_run(board, output, pixel, 1, rgbw, order)))
        return code;
    pp_reply_ok(board, order);
    return PP_OK;
}

/* dark OUTPUT, or dark all */
static uint8_t order_dark(pp_board *board, pp_order *order)
{
    if (strcmp(order->argument[0], "all") == 0) {
        pp_show_all_dark(board);
    } else {
        uint8_t output, code = pp_read_output(order, &output);
        if (code)
            return code;
        pp_show_dark(board, output);
    }
    pp_reply_ok(board, order);
    return PP_OK;
}

/* alive: the order itself has restarted the silence time already. */
static uint8_t order_alive(pp_board *board, pp_order *order)
{
    pp_reply_ok(board, order);
    return PP_OK;
}

#if PP_FEATURE_SETUP

/* Sends a chain's settings as fields. */
static void put_settings(pp_board *board, const pp_chain *chain)
{
    static const char letters[] PP_FLASH = "RGBW";
    pp_put_key_number(board, PP_FLASH_TEXT(""), chain->count);
    pp_put(board, ' ');
    for (uint8_t i = 0; i < chain->colours; i++)
        pp_put(board, (char)PP_FLASH_BYTE(&letters[chain->order[i]]));
    pp_put_key_number(board, PP_FLASH_TEXT(""), chain->latch_us);
    pp_put_key_number(board, PP_FLASH_TEXT(""), chain->ceiling_mA);
}

/* setup OUTPUT COUNT ORDER LATCH CEILING */
static uint8_t order_setup(pp_board *board, pp_order *order)
{
    uint8_t output, bytes[PP_COLOURS_MAX] = {0}, colours, code;
    uint32_t count, latch_us, ceiling_mA;
    if ((code = pp_read_output(order, &output)))
        return code;
    if (!pp_parse_number(order->argument[1], &count) || count == 0)
        return PP_BAD_VALUE;
    if (count > PP_PIXELS)
        return PP_TOO_MANY_PIXELS;
    if (!pp_parse_byte_order(order->argument[2], bytes, &colours))
        return PP_BAD_VALUE;
    if (!pp_parse_number(order->argument[3], &latch_us) || latch_us < LATCH_MIN_US || latch_us > LATCH_MAX_US)
        return PP_BAD_VALUE;
    if (!pp_parse_number(order->argument[4], &ceiling_mA) || ceiling_mA == 0 || ceiling_mA > PP_CEILING_MA)
        return PP_BAD_VALUE;
    pp_show_dark(board, output); /* with the old settings: pixels beyond a lower count would stay lit */
    pp_chain *chain = &board->chains[output];
    pp_chain_reset(chain);
    chain->count = (uint16_t)count;
    memcpy(chain->order, bytes, sizeof bytes);
    chain->colours = colours;
    chain->latch_us = (uint16_t)latch_us;
    chain->ceiling_mA = ceiling_mA;
    pp_reply_ok(board, order);
    put_settings(board, chain);
    return PP_OK;
}

/* state OUTPUT */
static uint8_t order_state(pp_board *board, pp_order *order)
{
    uint8_t output, code = pp_read_output(order, &output);
    if (code)
        return code;
    const pp_chain *chain = &board->chains[output];
    pp_reply_ok(board, order);
    put_settings(board, chain);
    pp_put_key_number(board, PP_FLASH_TEXT(""), chain->shown_lit);
    pp_put_key_number(board, PP_FLASH_TEXT(""), pp_need_mA(chain->count, chain->shown_sum));
    return PP_OK;
}

#endif
#if PP_FEATURE_RANGE

/* range OUTPUT FIRST COUNT COLOUR */
static uint8_t order_range(pp_board *board, pp_order *order)
{
    uint8_t output, rgbw[PP_COLOURS_MAX], code;
    uint16_t first;
    uint32_t count;
    if ((code = pp_read_output(order, &output)))
        return code;
    const pp_chain *chain = &board->chains[output];
    if ((code = read_pixel(order->argument[1], chain, &first)))
        return code;
    if (!pp_parse_number(order->argument[2], &count) || count == 0)
        return PP_BAD_VALUE;
    if (count > (uint32_t)(chain->count - first))
        return PP_NO_SUCH_PIXEL;
    if ((code = pp_read_colour(order->argument[3], chain, rgbw))
        || (code = pp_show_run(board, output, first, (uint16_t)count, rgbw, order)))
        return code;
    pp_reply_ok(board, order);
    return PP_OK;
}

#endif
#if PP_FEATURE_SILENCE

/* silence MS */
static uint8_t order_silence(pp_board *board, pp_order *order)
{
    uint32_t ms;
    if (!pp_parse_number(order->argument[0], &ms) || ms < SILENCE_MIN_MS || ms > SILENCE_MAX_MS)
        return PP_BAD_VALUE;
    board->silence_ms = ms;
    pp_reply_ok(board, order);
    pp_put_key_number(board, PP_FLASH_TEXT(""), ms);
    return PP_OK;
}

#endif
#if PP_FEATURE_PAINT

/* palette OUTPUT FIRST COLOUR [COLOUR [COLOUR [COLOUR]]] */
static uint8_t order_palette(pp_board *board, pp_order *order)
{
    uint8_t output, rgbw[PP_COLOURS_MAX], code;
    uint8_t colours = (uint8_t)(order->arguments - 2);
    uint32_t first;
    if ((code = pp_read_output(order, &output)))
        return code;
    pp_chain *chain = &board->chains[output];
    if (!pp_parse_number(order->argument[1], &first) || first == 0 || first + colours > PP_PALETTE)
        return PP_BAD_VALUE;
    for (uint8_t i = 0; i < colours; i++) /* all are checked before the first is set: a refused order changes nothing */
        if ((code = pp_read_colour(order->argument[2 + i], chain, rgbw)))
            return code;
    pp_take_pixels(board);
    for (uint8_t i = 0; i < colours; i++) {
        (void)pp_parse_colour(order->argument[2 + i], rgbw);
        pp_to_wire(chain, rgbw, chain->palette[first + i]);
    }
    pp_forget_staged(chain);
    pp_forget_shown(chain);
    pp_reply_ok(board, order);
    return PP_OK;
}

/* paint OUTPUT OFFSET RUNS */
static uint8_t order_paint(pp_board *board, pp_order *order)
{
    uint8_t output, entry, code;
    uint16_t offset, pixels;
    uint32_t total = 0;
    if ((code = pp_read_output(order, &output)))
        return code;
    pp_chain *chain = &board->chains[output];
    if ((code = read_pixel(order->argument[1], chain, &offset)))
        return code;
    const char *runs = order->argument[2];
    while (*runs) {
        if (!pp_parse_run(&runs, &entry, &pixels))
            return PP_BAD_VALUE;
        total += pixels;
    }
    if (total > (uint32_t)(chain->count - offset))
        return PP_NO_SUCH_PIXEL;
    if (offset > chain->staged) {
        order->staged = chain->staged;
        return PP_OUT_OF_STEP;
    }
    pp_take_pixels(board);
    pp_forget_shown(chain);
    chain->staged = offset;
    for (runs = order->argument[2]; *runs;) {
        (void)pp_parse_run(&runs, &entry, &pixels);
        pp_stage(chain, chain->staged, pixels, entry);
    }
    pp_reply_ok(board, order);
    pp_put_key_number(board, PP_FLASH_TEXT(""), chain->staged);
    return PP_OK;
}

/* show OUTPUT */
static uint8_t order_show(pp_board *board, pp_order *order)
{
    uint8_t output, code;
    if ((code = pp_read_output(order, &output)) || (code = pp_show_staged(board, output, order)))
        return code;
    pp_reply_ok(board, order);
    return PP_OK;
}

#endif

#if PP_FEATURE_READBACK

/* readback OUTPUT PIXEL: the bytes that went out for a pixel in the last picture. */
static uint8_t order_readback(pp_board *board, pp_order *order)
{
    uint8_t output, code;
    uint16_t pixel;
    if ((code = pp_read_output(order, &output)))
        return code;
    const pp_chain *chain = &board->chains[output];
    if ((code = read_pixel(order->argument[1], chain, &pixel)))
        return code;
    const pp_shown *shown = &chain->shown;
    pp_reply_ok(board, order);
    pp_put(board, ' ');
    if (shown->kind == PP_SHOWN_NONE || pixel >= shown->count) {
        pp_put_text(board, PP_FLASH_TEXT("none"));
        return PP_OK;
    }
    pp_wire_colour palette[2] = {{0}};
    memcpy(palette[1], shown->colour, sizeof palette[1]);
    pp_frame frame;
    memset(&frame, 0, sizeof frame);
    frame.colours = shown->colours;
    frame.first = shown->first;
    frame.end = shown->end;
    frame.palette = (const pp_wire_colour *)palette;
#if PP_FEATURE_PAINT
    if (shown->kind == PP_SHOWN_NUMBERS) {
        frame.palette = (const pp_wire_colour *)chain->palette;
        frame.numbers = chain->picture;
    }
#endif
#if PP_FEATURE_PLAY
    if (shown->kind == PP_SHOWN_RAW)
        frame.raw = chain->picture;
#endif
    const uint8_t *wire = pp_frame_pixel(&frame, pixel);
    for (uint8_t i = 0; i < shown->colours; i++)
        pp_put_hex(board, wire[i]);
    return PP_OK;
}

#endif

/* A word of this version; a board without its feature has no function for it. */
typedef struct word_entry {
    char word[9];
    uint8_t arguments_min, arguments_max;
    uint8_t (*carry_out)(pp_board *board, pp_order *order);
} word_entry;

#if PP_FEATURE_SETUP
#define SETUP(function) function
#else
#define SETUP(function) NULL
#endif
#if PP_FEATURE_RANGE
#define RANGE(function) function
#else
#define RANGE(function) NULL
#endif
#if PP_FEATURE_SILENCE
#define SILENCE(function) function
#else
#define SILENCE(function) NULL
#endif
#if PP_FEATURE_PAINT
#define PAINT(function) function
#else
#define PAINT(function) NULL
#endif
#if PP_FEATURE_TABLE
#define TABLE(function) function
#else
#define TABLE(function) NULL
#endif
#if PP_FEATURE_PLAY
#define PLAY(function) function
#else
#define PLAY(function) NULL
#endif
#if PP_FEATURE_PATTERN
#define PATTERN(function) function
#else
#define PATTERN(function) NULL
#endif
#if PP_FEATURE_INPUTS
#define INPUTS(function) function
#else
#define INPUTS(function) NULL
#endif
#if PP_FEATURE_COUNT
#define COUNT(function) function
#else
#define COUNT(function) NULL
#endif
#if PP_FEATURE_READBACK
#define READBACK(function) function
#else
#define READBACK(function) NULL
#endif

static const word_entry words[] PP_FLASH = {
    {"id", 0, 0, order_id},
    {"light", 3, 3, order_light},
    {"dark", 1, 1, order_dark},
    {"alive", 0, 0, order_alive},
    {"setup", 5, 5, SETUP(order_setup)},
    {"state", 1, 1, SETUP(order_state)},
    {"range", 4, 4, RANGE(order_range)},
    {"silence", 1, 1, SILENCE(order_silence)},
    {"palette", 3, 6, PAINT(order_palette)},
    {"paint", 3, 3, PAINT(order_paint)},
    {"show", 1, 1, PAINT(order_show)},
    {"table", 0, 0, TABLE(pp_order_table)},
    {"write", 2, 2, TABLE(pp_order_write)},
    {"read", 2, 2, TABLE(pp_order_read)},
    {"commit", 3, 3, TABLE(pp_order_commit)},
    {"erase", 0, 0, TABLE(pp_order_erase)},
    {"play", 0, 1, PLAY(pp_order_play)},
    {"lamp", 2, 2, PLAY(pp_order_lamp)},
    {"group", 2, 2, PLAY(pp_order_group)},
    {"run", 6, 9, PATTERN(pp_order_run)},
    {"running", 1, 1, PATTERN(pp_order_running)},
    {"inputs", 1, 1, INPUTS(pp_order_inputs)},
    {"edges", 1, 1, INPUTS(pp_order_edges)},
    {"linger", 1, 1, INPUTS(pp_order_linger)},
    {"watch", 1, 1, INPUTS(pp_order_watch)},
    {"count", 3, 3, COUNT(pp_order_count)},
    {"readback", 2, 2, READBACK(order_readback)},
};

/* Finds an order's word and carries it out; the reply is begun when PP_OK comes back. */
static uint8_t carry_out(pp_board *board, pp_order *order)
{
    for (uint8_t i = 0; i < sizeof words / sizeof words[0]; i++) {
        word_entry entry;
        PP_FLASH_COPY(&entry, &words[i], sizeof entry);
        if (strcmp(order->word, entry.word) != 0)
            continue;
        if (!entry.carry_out)
            return PP_NO_SUCH_FEATURE;
        if (order->arguments < entry.arguments_min || order->arguments > entry.arguments_max)
            return PP_ARGUMENT_COUNT;
        return entry.carry_out(board, order);
    }
    return PP_UNKNOWN_ORDER;
}

/* Answers the line in the buffer with exactly one reply (SPEC 3.1). */
void pp_answer_line(pp_board *board)
{
    pp_order order;
    uint8_t code = pp_line_damage(board);
    memset(&order, 0, sizeof order);
    if (code == PP_OK && board->line_length == 1 && board->line[0] == '?') { /* typed by hand: no number, no CRC */
        order.seq[0] = order.seq[1] = '0';
        (void)order_id(board, &order);
    } else {
        if (code == PP_OK)
            code = pp_parse_order(board, &order);
        if (code == PP_OK) {
            board->last_order_ms = board->port->now_ms(board->self);
            board->silence_runs = true;
#if PP_FEATURE_PLAY
            board->give_back = false;
#endif
            code = carry_out(board, &order);
        }
    }
    if (code)
        pp_reply_error(board, &order, code);
    else
        pp_end_line(board);
}
