/* The game's lamps: their levels, and the picture that the table makes of them (SPEC 13). SPDX-License-Identifier: MIT */
#include "pp_internal.h"

#if PP_FEATURE_PLAY

#define STEP_MS 20
#define GIVE_BACK_MS 1000
#define NO_KEY UINT16_MAX

/* The key of a lamp or group of the table. */
uint16_t pp_key_of(const pp_entry *entry)
{
    return entry->group ? (uint16_t)(PP_LAMPS + 1 + entry->number) : entry->number;
}

/* How many pixels of a chain the table can light. */
uint16_t pp_play_pixels_of(uint8_t colours)
{
    return colours == 4 ? (uint16_t)((uint32_t)PP_PLAY_PIXELS * 3 / 4) : PP_PLAY_PIXELS;
}

/* Lights or darkens the groups of a table that has come into force. */
void pp_play_begin_table(pp_board *board)
{
    pp_reader reader;
    for (uint8_t pass = 0; pass < 2; pass++) { /* one entry that says so makes its group start dark */
        if (!pp_reader_begin(&reader, board))
            return;
        while (pp_reader_next(&reader) == PP_ENTRY)
            if (reader.entry.group && (pass == 0 || reader.entry.starts_dark)) {
                uint16_t key = pp_key_of(&reader.entry);
                board->asked[key] = board->shown[key] = pass ? 0 : 255;
            }
    }
    board->redraw = true;
}

/* The part of a frame that is the same for every picture of a chain. */
static void begin_frame(pp_frame *frame, const pp_table_chain *chain)
{
    uint16_t most = pp_play_pixels_of(chain->colours);
    memset(frame, 0, sizeof *frame);
    frame->count = chain->count < most ? chain->count : most;
    frame->latch_us = chain->latch_us;
    frame->colours = chain->colours;
}

/* Darkens what the table lit. */
void pp_play_darken(pp_board *board)
{
    static const pp_wire_colour dark[2] = {{0}};
    pp_reader reader;
    if (board->table_lit && pp_reader_begin(&reader, board)) {
        for (uint8_t i = 0; i < reader.outputs; i++) {
            pp_table_chain chain;
            pp_frame frame;
            pp_reader_chain(&reader, i, &chain);
            begin_frame(&frame, &chain);
            frame.palette = dark;
            pp_send_frame(board, chain.output, &frame);
            board->chains[chain.output].shown_lit = 0;
            board->chains[chain.output].shown_sum = 0;
        }
    }
    board->table_lit = false;
}

/* Gives the pixels to the host; what the table lit goes dark. */
void pp_take_pixels(pp_board *board)
{
    pp_play_darken(board);
    board->game = false;
}

/* One value at a level. */
static uint8_t dimmed(uint8_t value, uint8_t level)
{
    return (uint8_t)(((uint16_t)(value * level) + 127) / 255);
}

/* Works out the wire bytes of a chain; `only` is the key to light at `level`, NO_KEY for what the game shows. */
static void fill(pp_board *board, const pp_table_chain *chain, uint8_t *wire, uint16_t only, uint8_t level)
{
    pp_reader reader;
    (void)pp_reader_begin(&reader, board);
    while (pp_reader_next(&reader) == PP_ENTRY) {
        if (reader.entry.output != chain->output)
            continue;
        uint16_t key = pp_key_of(&reader.entry);
        uint8_t now = only == NO_KEY ? board->shown[key] : only == key ? level : 0;
        if (!now)
            continue;
        pp_entry_colour(&reader);
#if PP_PLAY_TINT
        if (board->tint[key] && board->tint[key] <= reader.colours)
            pp_reader_colour(&reader, (uint8_t)(board->tint[key] - 1), reader.entry.rgbw);
#endif
        uint8_t *pixel = wire + (uint32_t)reader.entry.pixel * chain->colours;
        for (uint8_t i = 0; i < chain->colours; i++) {
            uint8_t value = dimmed(dimmed(reader.entry.rgbw[chain->order[i]], reader.entry.level), now);
            if (value > pixel[i])
                pixel[i] = value;
        }
    }
}

/* Scales a picture evenly so that its chain keeps to the ceiling (SPEC 13.7); returns the sum of its values. */
static uint32_t limit(const pp_table_chain *chain, uint32_t ceiling_mA, uint8_t *wire, uint32_t bytes)
{
    uint32_t sum = 0, after = 0, allowed = 0;
    for (uint32_t i = 0; i < bytes; i++)
        sum += wire[i];
    if (!sum || pp_need_uA(chain->count, sum) <= ceiling_mA * 1000)
        return sum;
    uint32_t idle = (uint32_t)chain->count * PP_IDLE_UA;
    if (ceiling_mA * 1000 > idle) {
        uint32_t room = ceiling_mA * 1000 - idle;
        allowed = room / PP_CHANNEL_UA * 255 + room % PP_CHANNEL_UA * 255 / PP_CHANNEL_UA;
    }
    for (uint32_t i = 0; i < bytes; i++) {
        wire[i] = (uint8_t)(wire[i] * allowed / sum);
        after += wire[i];
    }
    return after;
}

/* Shows the table's picture on every output that it knows. */
static void show(pp_board *board, uint16_t only, uint8_t level)
{
    pp_reader reader;
    if (!pp_reader_begin(&reader, board))
        return;
    for (uint8_t i = 0; i < reader.outputs; i++) {
        pp_table_chain record;
        pp_frame frame;
        pp_reader_chain(&reader, i, &record);
        begin_frame(&frame, &record);
        pp_chain *chain = &board->chains[record.output];
        uint32_t bytes = (uint32_t)frame.count * frame.colours;
        uint32_t ceiling_mA = record.ceiling_mA < chain->ceiling_mA ? record.ceiling_mA : chain->ceiling_mA;
        pp_forget_staged(chain);
        pp_forget_palette(chain);
        memset(chain->picture, 0, bytes);
        fill(board, &record, chain->picture, only, level);
        chain->shown_sum = limit(&record, ceiling_mA, chain->picture, bytes);
        chain->shown_lit = 0;
        for (uint16_t pixel = 0; pixel < frame.count; pixel++) {
            bool lit = false;
            for (uint8_t k = 0; k < frame.colours; k++)
                lit |= chain->picture[(uint32_t)pixel * frame.colours + k] != 0;
            chain->shown_lit = (uint16_t)(chain->shown_lit + lit);
        }
        frame.raw = chain->picture;
        pp_send_frame(board, record.output, &frame);
    }
    board->table_lit = true;
}

/* Lights what the table gives one lamp or group, and nothing else; the number of its entries, 0 if it has none. */
uint16_t pp_play_show_key(pp_board *board, uint16_t key, uint8_t level)
{
    pp_reader reader;
    uint16_t entries = 0;
    if (!pp_reader_begin(&reader, board))
        return 0;
    while (pp_reader_next(&reader) == PP_ENTRY)
        entries = (uint16_t)(entries + (pp_key_of(&reader.entry) == key));
    if (!entries)
        return 0;
    if (!board->table_lit)
        pp_show_all_dark(board);
    board->game = false;
    show(board, key, level);
    return entries;
}

/* Moves a level one step of 20 ms towards another (SPEC 13.6). */
static uint8_t moved(uint8_t shown, uint8_t asked, uint16_t time_constant_ms)
{
    uint16_t difference = asked > shown ? (uint16_t)(asked - shown) : (uint16_t)(shown - asked);
    uint16_t part = (uint16_t)((difference * STEP_MS + time_constant_ms + STEP_MS - 1) / (time_constant_ms + STEP_MS));
    return (uint8_t)(asked > shown ? shown + part : shown - part);
}

/* Moves all levels; true when one has changed. */
static bool move_levels(pp_board *board)
{
    bool changed = false;
    uint16_t rise_ms = (uint16_t)(pp_table_byte(board, 3) * 4), fall_ms = (uint16_t)(pp_table_byte(board, 4) * 4);
    for (uint16_t key = 0; key < PP_KEYS; key++) {
        uint8_t shown = board->shown[key], asked = board->asked[key];
        if (shown == asked)
            continue;
        board->shown[key] = moved(shown, asked, asked > shown ? rise_ms : fall_ms);
        changed = true;
    }
    return changed;
}

/* Gives the pixels back after silence, moves the levels, shows the game's picture when it has changed. */
void pp_play_poll(pp_board *board, uint32_t now_ms)
{
    if (board->give_back && now_ms - board->dark_ms >= GIVE_BACK_MS) {
        board->give_back = false;
        board->game = board->redraw = board->game_untold = true;
    }
    if (now_ms - board->play_ms < STEP_MS)
        return;
    /* The beat is kept, unless the board was busy with something else for longer. */
    board->play_ms = now_ms - board->play_ms < 2 * STEP_MS ? board->play_ms + STEP_MS : now_ms;
    if (!board->table.revision)
        return;
    if (move_levels(board))
        board->redraw = true;
    if (board->game && board->redraw) {
        board->redraw = false;
        show(board, NO_KEY, 0);
    }
}

/* Wants a key at a level. */
static void ask(pp_board *board, uint32_t key, uint8_t level)
{
    if (key < PP_KEYS)
        board->asked[key] = level;
}

/* The game says that a lamp is on or off. */
void pp_lamp_on(pp_board *board, uint16_t lamp, bool on)
{
    pp_lamp_level(board, lamp, on ? 255 : 0);
}

/* The game wants a lamp at a level. */
void pp_lamp_level(pp_board *board, uint16_t lamp, uint8_t level)
{
    if (lamp <= PP_LAMPS)
        ask(board, lamp, level);
}

/* The game wants a group at a level. */
void pp_group_level(pp_board *board, uint8_t group, uint8_t level)
{
    ask(board, (uint32_t)PP_LAMPS + 1 + group, level);
}

#if PP_PLAY_TINT
/* Gives a lamp another colour of the table. */
void pp_lamp_colour(pp_board *board, uint16_t lamp, int8_t colour)
{
    if (lamp <= PP_LAMPS) {
        board->tint[lamp] = colour < 0 ? 0 : (uint8_t)(colour + 1);
        board->redraw = true;
    }
}
#endif

/* A pixel that the table gives a lamp. */
bool pp_lamp_pixel(pp_board *board, uint16_t lamp, uint16_t nth, uint8_t *output, uint16_t *pixel)
{
    pp_reader reader;
    if (!pp_reader_begin(&reader, board))
        return false;
    while (pp_reader_next(&reader) == PP_ENTRY) {
        if (reader.entry.group || reader.entry.number != lamp || nth--)
            continue;
        *output = reader.entry.output;
        *pixel = reader.entry.pixel;
        return true;
    }
    return false;
}

/* Does the game have the pixels? */
bool pp_game_has_pixels(const pp_board *board)
{
    return board->game;
}

#endif
