/* The lamp table: two copies in the non-volatile memory, and how an image is read (SPEC 12).
 * SPDX-License-Identifier: MIT
 *
 * Each half of the memory: mark, generation, revision (4), length (2), CRC of the image (2), CRC of the nine bytes before
 * it (2), image. The mark is written last and taken away first, so a power cut at any moment leaves a half either whole or
 * void; the half in force is not written to at all. Of two whole ones the newer generation counts, modulo 256.
 */
#include "pp_internal.h"

#if PP_FEATURE_TABLE

#define HALF (PP_STORE_BYTES / 2)
#define MARK 0x5A
#define VOID_MARK 0x00
enum { AT_MARK, AT_GENERATION, AT_REVISION, AT_LENGTH = 6, AT_CRC = 8, AT_HEAD_CRC = 10 };

#define IMAGE_HEAD 5
#define OUTPUT_RECORD 7
#define COLOUR_RECORD 4
#define FORMAT 1
#define OWN_COLOUR 15

/* A byte of the memory. */
static uint8_t get(pp_board *board, uint16_t at)
{
    return board->port->store_read(board->self, at);
}

/* A number of two bytes, the high one first. */
static uint16_t get_word(pp_board *board, uint16_t at)
{
    return (uint16_t)(get(board, at) << 8 | get(board, (uint16_t)(at + 1)));
}

/* Changes a byte of the memory. */
static void put(pp_board *board, uint16_t at, uint8_t byte)
{
    board->port->store_write(board->self, at, byte);
}

/* CRC of so many bytes of the memory. */
static uint16_t crc_of(pp_board *board, uint16_t at, uint16_t length)
{
    uint16_t crc = 0xFFFF;
    for (; length; at++, length--)
        crc = pp_crc(crc, get(board, at));
    return crc;
}

/* Where a half begins. */
static uint16_t half_at(uint8_t half)
{
    return half ? HALF : 0;
}

/* Begins to read an image that lies anywhere in the memory; false when its head breaks the rules. */
static bool begin_at(pp_reader *reader, pp_board *board, uint16_t base, uint16_t length)
{
    memset(reader, 0, sizeof *reader);
    reader->board = board;
    reader->base = base;
    reader->end = length;
    reader->entry.pixel = UINT16_MAX; /* the one before pixel 0 */
    reader->entry.level = 255;
    if (length < IMAGE_HEAD || get(board, base) != FORMAT)
        return false;
    reader->outputs = get(board, (uint16_t)(base + 1));
    reader->colours = get(board, (uint16_t)(base + 2));
    reader->at = (uint16_t)(IMAGE_HEAD + reader->outputs * OUTPUT_RECORD + reader->colours * COLOUR_RECORD);
    return reader->outputs <= 16 && reader->colours < OWN_COLOUR + 1;
}

/* Reads an output record, whose bytes are all there; false when it breaks the rules. */
static bool read_chain(const pp_reader *reader, uint8_t index, pp_table_chain *chain)
{
    pp_board *board = reader->board;
    uint16_t at = (uint16_t)(reader->base + IMAGE_HEAD + index * OUTPUT_RECORD);
    uint8_t first = get(board, at), order = get(board, (uint16_t)(at + 1)), latch = get(board, (uint16_t)(at + 6));
    uint8_t seen = 0;
    chain->output = first & 15;
    chain->colours = first >> 4;
    if (chain->colours < 3 || chain->colours > 4)
        return false;
    for (uint8_t i = 0; i < PP_COLOURS_MAX; i++, order >>= 2) {
        chain->order[i] = order & 3;
        if (i < chain->colours)
            seen |= (uint8_t)(1u << (order & 3));
        else if (order & 3)
            return false;
    }
    chain->count = get_word(board, (uint16_t)(at + 2));
    chain->ceiling_mA = get_word(board, (uint16_t)(at + 4));
    chain->latch_us = (uint16_t)(latch * 4);
    return seen == (chain->colours == 4 ? 0x0F : 0x07) && chain->output < PP_OUTPUTS && chain->count >= 1
           && chain->count <= PP_PIXELS && chain->ceiling_mA >= 1 && latch >= 70 && latch <= 250;
}

/* The record of an output; false when there is none. */
static bool find_chain(const pp_reader *reader, uint8_t output, pp_table_chain *chain)
{
    for (uint8_t i = 0; i < reader->outputs; i++)
        if (read_chain(reader, i, chain) && chain->output == output)
            return true;
    return false;
}

/* A chain of a table that was found to keep the rules. */
void pp_reader_chain(const pp_reader *reader, uint8_t index, pp_table_chain *chain)
{
    (void)read_chain(reader, index, chain);
}

/* A colour of the table by its number, which exists. */
void pp_reader_colour(const pp_reader *reader, uint8_t number, uint8_t rgbw[PP_COLOURS_MAX])
{
    uint16_t at =
        (uint16_t)(reader->base + IMAGE_HEAD + reader->outputs * OUTPUT_RECORD + number * COLOUR_RECORD);
    for (uint8_t i = 0; i < PP_COLOURS_MAX; i++)
        rgbw[i] = get(reader->board, (uint16_t)(at + i));
}

/* The next byte of an image; false at its end. */
static bool take(pp_reader *reader, uint8_t *byte)
{
    if (reader->at >= reader->end)
        return false;
    *byte = get(reader->board, (uint16_t)(reader->base + reader->at++));
    return true;
}

/* The next two bytes of an image as a number. */
static bool take_word(pp_reader *reader, uint16_t *number)
{
    uint8_t high, low;
    if (!take(reader, &high) || !take(reader, &low))
        return false;
    *number = (uint16_t)(high << 8 | low);
    return true;
}

/* Reads whose pixel an entry is. */
static bool take_whose(pp_reader *reader, uint8_t bits)
{
    pp_entry *entry = &reader->entry;
    uint8_t byte;
    switch (bits) {
    case 0:
        return reader->any;
    case 3:
        if (!take(reader, &byte) || (byte & 0x40))
            return false;
        entry->group = true;
        entry->starts_dark = byte & 0x80;
        entry->number = byte & 63;
#if PP_FEATURE_PLAY
        return entry->number < PP_GROUPS;
#else
        return true;
#endif
    case 2:
        if (!take_word(reader, &reader->lamp))
            return false;
        break;
    default:
        if (reader->lamp++ == UINT16_MAX)
            return false;
    }
    entry->group = false;
    entry->starts_dark = false;
    entry->number = reader->lamp;
#if PP_FEATURE_PLAY && PP_LAMPS < 65535
    return entry->number <= PP_LAMPS;
#else
    return true;
#endif
}

/* Reads one entry but for its first byte. */
static bool take_entry(pp_reader *reader, uint8_t control)
{
    pp_entry *entry = &reader->entry;
    uint16_t place;
    if (!take_whose(reader, control >> 6))
        return false;
    reader->any = true;
    if (control & 0x20) {
        if (!take_word(reader, &place))
            return false;
        entry->output = (uint8_t)(place >> 12);
        entry->pixel = place & 0x0FFF;
    } else {
        entry->pixel++;
    }
    if ((control & 0x10) && !take(reader, &entry->level))
        return false;
    entry->colour = control & 15;
    if (entry->colour < OWN_COLOUR) {
        if (entry->colour >= reader->colours)
            return false;
        return true; /* pp_entry_colour() looks it up for those who want it */
    }
    for (uint8_t i = 0; i < PP_COLOURS_MAX; i++)
        if (!take(reader, &entry->rgbw[i]))
            return false;
    return true;
}

/* Reads the next entry of an image. */
uint8_t pp_reader_next(pp_reader *reader)
{
    uint8_t control;
    reader->record = reader->at;
    if (!take(reader, &control))
        return PP_END;
    return take_entry(reader, control) ? PP_ENTRY : PP_BROKEN;
}

/* The colour of the entry read last. */
void pp_entry_colour(pp_reader *reader)
{
    if (reader->entry.colour < OWN_COLOUR)
        pp_reader_colour(reader, reader->entry.colour, reader->entry.rgbw);
}

/* Does an image keep the rules, on this board? `at` becomes the offset of the record in which the reading ended. */
static bool image_is_sound(pp_board *board, uint16_t base, uint16_t length, uint16_t *at)
{
    pp_reader reader;
    pp_table_chain chain;
    uint16_t seen = 0;
    *at = 0;
    if (!begin_at(&reader, board, base, length))
        return false;
    for (uint8_t i = 0; i < reader.outputs; i++) {
        *at = (uint16_t)(IMAGE_HEAD + i * OUTPUT_RECORD);
        if (*at + OUTPUT_RECORD > length || !read_chain(&reader, i, &chain) || (seen & (1u << chain.output)))
            return false;
        seen |= (uint16_t)(1u << chain.output);
    }
    for (uint8_t i = 0; i < reader.colours; i++) {
        *at = (uint16_t)(IMAGE_HEAD + reader.outputs * OUTPUT_RECORD + i * COLOUR_RECORD);
        if (*at + COLOUR_RECORD > length)
            return false;
    }
    for (;;) {
        uint8_t found = pp_reader_next(&reader);
        *at = reader.record;
        if (found != PP_ENTRY)
            return found == PP_END;
        if (!find_chain(&reader, reader.entry.output, &chain) || reader.entry.pixel >= chain.count
            || reader.entry.pixel > 0x0FFF)
            return false;
#if PP_FEATURE_PLAY
        if (reader.entry.pixel >= pp_play_pixels_of(chain.colours))
            return false;
#endif
    }
}

/* Begins to read the table in force; false when there is none. */
bool pp_reader_begin(pp_reader *reader, pp_board *board)
{
    return board->table.revision
           && begin_at(reader, board, (uint16_t)(half_at(board->table.half) + PP_TABLE_HEAD), board->table.length);
}

/* Takes over a half's table if it is whole. */
static bool take_half(pp_board *board, uint8_t half)
{
    uint16_t at = half_at(half), length = get_word(board, (uint16_t)(at + AT_LENGTH)), broken;
    if (get(board, at) != MARK || crc_of(board, (uint16_t)(at + AT_GENERATION), 9) != get_word(board, (uint16_t)(at + AT_HEAD_CRC))
        || length > PP_TABLE_CAPACITY)
        return false;
    uint16_t crc = crc_of(board, (uint16_t)(at + PP_TABLE_HEAD), length);
    if (crc != get_word(board, (uint16_t)(at + AT_CRC))
        || !image_is_sound(board, (uint16_t)(at + PP_TABLE_HEAD), length, &broken))
        return false;
    pp_table *table = &board->table;
    table->revision = (uint32_t)get_word(board, (uint16_t)(at + AT_REVISION)) << 16
                      | get_word(board, (uint16_t)(at + AT_REVISION + 2));
    table->length = length;
    table->crc = crc;
    table->half = half;
    return table->revision != 0;
}

/* Finds the table in force after a restart. */
void pp_table_start(pp_board *board)
{
    memset(&board->table, 0, sizeof board->table);
    uint8_t ahead = (uint8_t)(get(board, HALF + AT_GENERATION) - get(board, AT_GENERATION));
    uint8_t newer = ahead < 128;
    if (!take_half(board, newer) && !take_half(board, !newer)) {
        board->table.revision = 0;
        board->table.length = 0;
        board->table.crc = 0xFFFF;
    }
}

/* Puts a byte into the spare copy, whose mark goes first. */
void pp_table_stage(pp_board *board, uint16_t offset, uint8_t byte)
{
    uint16_t at = half_at(!board->table.half);
    put(board, at, VOID_MARK);
    put(board, (uint16_t)(at + PP_TABLE_HEAD + offset), byte);
}

/* A byte of the table in force. */
uint8_t pp_table_byte(pp_board *board, uint16_t offset)
{
    return get(board, (uint16_t)(half_at(board->table.half) + PP_TABLE_HEAD + offset));
}

/* Makes the staged bytes the table in force. */
uint8_t pp_table_commit(pp_board *board, uint16_t length, uint16_t crc, uint32_t revision, pp_order *order)
{
    pp_table *table = &board->table;
    if (table->revision == revision && table->length == length && table->crc == crc) {
        table->staged = 0;
        return PP_OK;
    }
    if (table->staged < length) {
        order->staged = table->staged;
        return PP_INCOMPLETE;
    }
    uint8_t spare = !table->half;
    uint16_t at = half_at(spare);
    if (crc_of(board, (uint16_t)(at + PP_TABLE_HEAD), length) != crc)
        return PP_MISMATCH;
    if (!image_is_sound(board, (uint16_t)(at + PP_TABLE_HEAD), length, &order->at))
        return PP_BAD_TABLE;
#if PP_FEATURE_PLAY
    pp_play_darken(board); /* by the old table */
#endif
    put(board, (uint16_t)(at + AT_GENERATION), (uint8_t)(get(board, (uint16_t)(half_at(table->half) + AT_GENERATION)) + 1));
    for (uint8_t i = 0; i < 4; i++)
        put(board, (uint16_t)(at + AT_REVISION + i), (uint8_t)(revision >> (24 - 8 * i)));
    put(board, (uint16_t)(at + AT_LENGTH), (uint8_t)(length >> 8));
    put(board, (uint16_t)(at + AT_LENGTH + 1), (uint8_t)length);
    put(board, (uint16_t)(at + AT_CRC), (uint8_t)(crc >> 8));
    put(board, (uint16_t)(at + AT_CRC + 1), (uint8_t)crc);
    uint16_t head_crc = crc_of(board, (uint16_t)(at + AT_GENERATION), 9);
    put(board, (uint16_t)(at + AT_HEAD_CRC), (uint8_t)(head_crc >> 8));
    put(board, (uint16_t)(at + AT_HEAD_CRC + 1), (uint8_t)head_crc);
    put(board, at, MARK);
    table->revision = revision;
    table->length = length;
    table->crc = crc;
    table->half = spare;
    table->staged = 0;
#if PP_FEATURE_PLAY
    pp_play_begin_table(board);
#endif
    return PP_OK;
}

/* Holds no table any more: the spare copy goes first, so that a power cut cannot bring an older table back. */
void pp_table_erase(pp_board *board)
{
#if PP_FEATURE_PLAY
    pp_play_darken(board);
    board->game = false;
#endif
    uint8_t half = board->table.half;
    put(board, half_at(!half), VOID_MARK);
    put(board, half_at(half), VOID_MARK);
    memset(&board->table, 0, sizeof board->table);
    board->table.crc = 0xFFFF;
    board->table.half = half;
}

#endif
