/* The orders of the features table, play, pattern, inputs and count (SPEC 5.14 to 5.28). SPDX-License-Identifier: MIT */
#include "pp_internal.h"

#define WRITE_MAX 16
#define READ_MAX 64
#define STEP_MIN_MS 167
#define STEP_MAX_MS 60000
#define LINGER_MAX_MS 250
#define EDGES_A_REPLY 8
#define TIMES_MAX 8

#if PP_FEATURE_TABLE || PP_FEATURE_PATTERN || PP_FEATURE_INPUTS || PP_FEATURE_COUNT

/* Reads a number within limits. */
static uint8_t read_number(const char *text, uint32_t least, uint32_t most, uint32_t *number)
{
    return pp_parse_number(text, number) && *number >= least && *number <= most ? PP_OK : PP_BAD_VALUE;
}

#endif
#if PP_FEATURE_TABLE

/* table: what is held */
uint8_t pp_order_table(pp_board *board, pp_order *order)
{
    const pp_table *table = &board->table;
    pp_reply_ok(board, order);
    pp_put_key_number(board, PP_FLASH_TEXT(""), table->revision);
    pp_put_key_number(board, PP_FLASH_TEXT(""), table->length);
    pp_put(board, ' ');
    pp_put_hex(board, (uint8_t)(table->crc >> 8));
    pp_put_hex(board, (uint8_t)table->crc);
    pp_put_key_number(board, PP_FLASH_TEXT(""), PP_TABLE_CAPACITY);
    pp_put_key_number(board, PP_FLASH_TEXT(""), table->staged);
    return PP_OK;
}

/* write OFFSET BYTES */
uint8_t pp_order_write(pp_board *board, pp_order *order)
{
    uint32_t offset;
    uint16_t byte;
    const char *digits = order->argument[1];
    size_t length = strlen(digits);
    if (!pp_parse_number(order->argument[0], &offset) || length == 0 || length % 2 || length > 2 * WRITE_MAX)
        return PP_BAD_VALUE;
    for (size_t i = 0; i < length; i += 2)
        if (!pp_parse_hex(digits + i, 2, &byte))
            return PP_BAD_VALUE;
    if (offset + length / 2 > PP_TABLE_CAPACITY)
        return PP_BAD_VALUE;
    if (offset > board->table.staged) {
        order->staged = board->table.staged;
        return PP_OUT_OF_STEP;
    }
    board->table.staged = (uint16_t)offset;
    for (size_t i = 0; i < length; i += 2) {
        (void)pp_parse_hex(digits + i, 2, &byte);
        pp_table_stage(board, board->table.staged++, (uint8_t)byte);
    }
    pp_reply_ok(board, order);
    pp_put_key_number(board, PP_FLASH_TEXT(""), board->table.staged);
    return PP_OK;
}

/* read OFFSET COUNT */
uint8_t pp_order_read(pp_board *board, pp_order *order)
{
    uint32_t offset, count;
    if (!pp_parse_number(order->argument[0], &offset) || read_number(order->argument[1], 1, READ_MAX, &count)
        || offset + count > board->table.length)
        return PP_BAD_VALUE;
    pp_reply_ok(board, order);
    pp_put(board, ' ');
    for (; count; offset++, count--)
        pp_put_hex(board, pp_table_byte(board, (uint16_t)offset));
    return PP_OK;
}

/* commit LENGTH CRC REVISION */
uint8_t pp_order_commit(pp_board *board, pp_order *order)
{
    uint32_t length, revision;
    uint16_t crc;
    const char *digits = order->argument[1];
    if (read_number(order->argument[0], 5, PP_TABLE_CAPACITY, &length) || strlen(digits) != 4
        || !pp_parse_hex(digits, 4, &crc) || read_number(order->argument[2], 1, UINT32_MAX, &revision))
        return PP_BAD_VALUE;
    uint8_t code = pp_table_commit(board, (uint16_t)length, crc, revision, order);
    if (code)
        return code;
    pp_reply_ok(board, order);
    pp_put_key_number(board, PP_FLASH_TEXT(""), revision);
    return PP_OK;
}

/* erase */
uint8_t pp_order_erase(pp_board *board, pp_order *order)
{
    pp_table_erase(board);
    pp_reply_ok(board, order);
    return PP_OK;
}

#endif
#if PP_FEATURE_PLAY

/* play [WHO] */
uint8_t pp_order_play(pp_board *board, pp_order *order)
{
    if (order->arguments) {
        bool game = strcmp(order->argument[0], "game") == 0;
        if (!game && strcmp(order->argument[0], "host") != 0)
            return PP_BAD_VALUE;
        if (game && !board->table.revision)
            return PP_NOT_IN_TABLE;
        pp_show_all_dark(board);
        if (game)
            board->game = board->redraw = true;
    }
    pp_reply_ok(board, order);
    pp_put_text(board, board->game ? PP_FLASH_TEXT(" game") : PP_FLASH_TEXT(" host"));
    pp_put_key_number(board, PP_FLASH_TEXT(""), PP_LAMPS);
    pp_put_key_number(board, PP_FLASH_TEXT(""), PP_GROUPS);
    pp_put_key_number(board, PP_FLASH_TEXT(""), PP_PLAY_PIXELS);
    return PP_OK;
}

/* Carries out `lamp` and `group`: `base` is the key of number 0, `keys` how many there are. */
static uint8_t light_key(pp_board *board, pp_order *order, uint32_t base, uint32_t keys)
{
    uint32_t number, level;
    if (!pp_parse_number(order->argument[0], &number) || read_number(order->argument[1], 0, 255, &level))
        return PP_BAD_VALUE;
    uint16_t entries = number < keys ? pp_play_show_key(board, (uint16_t)(base + number), (uint8_t)level) : 0;
    if (!entries)
        return PP_NOT_IN_TABLE;
    pp_reply_ok(board, order);
    pp_put_key_number(board, PP_FLASH_TEXT(""), entries);
    return PP_OK;
}

/* lamp NUMBER LEVEL */
uint8_t pp_order_lamp(pp_board *board, pp_order *order)
{
    return light_key(board, order, 0, (uint32_t)PP_LAMPS + 1);
}

/* group NUMBER LEVEL */
uint8_t pp_order_group(pp_board *board, pp_order *order)
{
    return light_key(board, order, (uint32_t)PP_LAMPS + 1, PP_GROUPS);
}

#endif
#if PP_FEATURE_PATTERN

#define WORDS_MAX 6

static const char kinds[][WORDS_MAX] PP_FLASH = {"all", "walk"};
static const char lines[][WORDS_MAX] PP_FLASH = {"send", "once", "turns"};
static const char keeps[][WORDS_MAX] PP_FLASH = {"live", "hold"};

/* Finds a word in a list; its place, or 255. */
static uint8_t find_word(const char *text, const char (*flash_words)[WORDS_MAX], uint8_t words)
{
    for (uint8_t i = 0; i < words; i++) {
        char word[WORDS_MAX];
        PP_FLASH_COPY(word, flash_words[i], sizeof word);
        if (strcmp(text, word) == 0)
            return i;
    }
    return 255;
}

/* run OUTPUT KIND LINE KEEP STEP COLOUR [COLOUR [COLOUR [COLOUR]]] */
uint8_t pp_order_run(pp_board *board, pp_order *order)
{
    uint8_t output, code, rgbw[PP_COLOURS_MAX];
    pp_pattern pattern;
    memset(&pattern, 0, sizeof pattern);
    if ((code = pp_read_output(order, &output)))
        return code;
    const pp_chain *chain = &board->chains[output];
    pattern.kind = find_word(order->argument[1], kinds, 2);
    if (pattern.kind == 255)
        return PP_BAD_VALUE;
    if (pattern.kind == PP_WALK && order->arguments > 6)
        return PP_ARGUMENT_COUNT;
    pattern.line = find_word(order->argument[2], lines, 3);
    pattern.keep = find_word(order->argument[3], keeps, 2);
    if (pattern.line == 255 || pattern.keep == 255
        || read_number(order->argument[4], STEP_MIN_MS, STEP_MAX_MS, &pattern.step_ms))
        return PP_BAD_VALUE;
    pattern.colours = (uint8_t)(order->arguments - 5);
    for (uint8_t i = 0; i < pattern.colours; i++) {
        if ((code = pp_read_colour(order->argument[5 + i], chain, rgbw)))
            return code;
        pp_to_wire(chain, rgbw, pattern.colour[i]);
    }
    if ((code = pp_pattern_start(board, output, &pattern, order)))
        return code;
    pp_reply_ok(board, order);
    return PP_OK;
}

/* running OUTPUT */
uint8_t pp_order_running(pp_board *board, pp_order *order)
{
    uint8_t output, code = pp_read_output(order, &output);
    if (code)
        return code;
    const pp_pattern *pattern = &board->chains[output].pattern;
    pp_reply_ok(board, order);
    pp_put(board, ' ');
    if (!pattern->colours) {
        pp_put_text(board, PP_FLASH_TEXT("none"));
        return PP_OK;
    }
    pp_put_text(board, kinds[pattern->kind]);
    pp_put(board, ' ');
    pp_put_text(board, lines[pattern->line]);
    pp_put(board, ' ');
    pp_put_text(board, keeps[pattern->keep]);
    pp_put_key_number(board, PP_FLASH_TEXT(""), pattern->step_ms);
    pp_put_key_number(board, PP_FLASH_TEXT(""), pattern->steps_done);
    return PP_OK;
}

#endif
#if PP_FEATURE_INPUTS

/* inputs FIRST */
uint8_t pp_order_inputs(pp_board *board, pp_order *order)
{
    uint32_t first;
    if (read_number(order->argument[0], 1, PP_INPUTS, &first))
        return PP_BAD_VALUE;
    pp_reply_ok(board, order);
    pp_put_key_number(board, PP_FLASH_TEXT(""), PP_INPUTS);
    pp_put(board, ' ');
    pp_put_input_bits(board, (uint8_t)first);
    return PP_OK;
}

/* edges FIRST */
uint8_t pp_order_edges(pp_board *board, pp_order *order)
{
    uint32_t first;
    if (read_number(order->argument[0], 1, PP_INPUTS, &first))
        return PP_BAD_VALUE;
    pp_reply_ok(board, order);
    for (uint32_t i = first - 1; i < PP_INPUTS && i < first - 1 + EDGES_A_REPLY; i++)
        pp_put_key_number(board, PP_FLASH_TEXT(""), board->inputs.edges[i]);
    return PP_OK;
}

/* linger MS */
uint8_t pp_order_linger(pp_board *board, pp_order *order)
{
    uint32_t ms;
    if (read_number(order->argument[0], 1, LINGER_MAX_MS, &ms))
        return PP_BAD_VALUE;
    board->inputs.linger_ms = (uint8_t)ms;
    pp_reply_ok(board, order);
    pp_put_key_number(board, PP_FLASH_TEXT(""), ms);
    return PP_OK;
}

/* watch on, or watch off */
uint8_t pp_order_watch(pp_board *board, pp_order *order)
{
    bool on = strcmp(order->argument[0], "on") == 0;
    if (!on && strcmp(order->argument[0], "off") != 0)
        return PP_BAD_VALUE;
    board->inputs.watched = board->inputs.untold = on;
    pp_reply_ok(board, order);
    return PP_OK;
}

#endif
#if PP_FEATURE_COUNT

/* count OUTPUT SENT TIMES */
uint8_t pp_order_count(pp_board *board, pp_order *order)
{
    static const pp_wire_colour dark[2] = {{0}};
    uint8_t output, code;
    uint32_t sent, times, edges = 0, least = UINT32_MAX, most = 0;
    if ((code = pp_read_output(order, &output)))
        return code;
    if (!pp_parse_number(order->argument[1], &sent) || sent == 0)
        return PP_BAD_VALUE;
    if (sent > PP_PIXELS)
        return PP_TOO_MANY_PIXELS;
    if (read_number(order->argument[2], 1, TIMES_MAX, &times))
        return PP_BAD_VALUE;
    pp_show_dark(board, output);
    const pp_chain *chain = &board->chains[output];
    uint8_t bits = (uint8_t)(8 * chain->colours);
    pp_frame frame;
    memset(&frame, 0, sizeof frame);
    frame.count = (uint16_t)sent;
    frame.latch_us = chain->latch_us;
    frame.colours = chain->colours;
    frame.palette = dark;
    while (times--) {
        edges = board->port->count_edges(board->self, output, &frame);
        uint32_t beyond = (edges + bits / 2) / bits, found = beyond < sent ? sent - beyond : 0;
        least = found < least ? found : least;
        most = found > most ? found : most;
    }
    pp_reply_ok(board, order);
    pp_put_key_number(board, PP_FLASH_TEXT(""), least);
    pp_put_key_number(board, PP_FLASH_TEXT(""), most);
    pp_put_key_number(board, PP_FLASH_TEXT(""), edges);
    return PP_OK;
}

#endif
