/* What the core's files offer to each other; no port needs it. SPDX-License-Identifier: MIT */
#ifndef PP_INTERNAL_H
#define PP_INTERNAL_H

#include <stddef.h>
#include <string.h>

#include "pp_board.h"

/* A port may keep constant texts elsewhere than in RAM (see board_config.h); others need nothing. */
#ifndef PP_FLASH
#define PP_FLASH
#define PP_FLASH_TEXT(literal) (literal)
#define PP_FLASH_BYTE(address) (*(const uint8_t *)(address))
#define PP_FLASH_COPY(to, from, size) memcpy((to), (from), (size))
#endif

/* Error codes (SPEC 8); 0 is "no error". */
enum {
    PP_OK = 0,
    PP_MALFORMED = 10,
    PP_CHECKSUM = 11,
    PP_OVERLONG = 12,
    PP_FORBIDDEN_BYTE = 13,
    PP_LOST_BYTES = 14,
    PP_UNKNOWN_ORDER = 20,
    PP_ARGUMENT_COUNT = 21,
    PP_BAD_VALUE = 22,
    PP_NO_SUCH_FEATURE = 23,
    PP_NO_SUCH_OUTPUT = 30,
    PP_NO_SUCH_PIXEL = 31,
    PP_CEILING = 32,
    PP_TOO_MANY_PIXELS = 33,
    PP_NOT_READY = 34,
    PP_INCOMPLETE = 35,
    PP_OUT_OF_STEP = 36,
    PP_MISMATCH = 37,
    PP_BAD_TABLE = 38,
    PP_NOT_IN_TABLE = 39,
    PP_INTERNAL = 40
};

#define PP_ARGUMENTS_KEPT (PP_FEATURE_PATTERN ? 9 : 6) /* the most that any order has: run, else palette */

/* A line taken apart; the texts lie in the line buffer, each ended by NUL. */
typedef struct pp_order {
    const char *word;
    const char *argument[PP_ARGUMENTS_KEPT]; /* those beyond are counted, not kept */
    uint8_t arguments;
    char seq[2];
    uint16_t staged;   /* field of errors 35 and 36 */
    uint16_t at;       /* field of error 38 */
    uint32_t need_mA;  /* fields of error 32 */
    uint32_t ceiling_mA;
} pp_order;

/* pp_line.c: bytes to lines. */
#define PP_NO_STAR 255
bool pp_line_take(pp_board *board, uint8_t byte);
void pp_line_mark_lost(pp_board *board);
uint8_t pp_line_damage(const pp_board *board);
void pp_line_clear(pp_board *board);

/* pp_parse.c: a line to an order, an argument to a value. */
uint8_t pp_parse_order(pp_board *board, pp_order *order);
bool pp_parse_number(const char *text, uint32_t *value);
bool pp_parse_colour(const char *text, uint8_t rgbw[PP_COLOURS_MAX]);
bool pp_parse_byte_order(const char *text, uint8_t order[PP_COLOURS_MAX], uint8_t *colours);
bool pp_parse_hex(const char *text, uint8_t digits, uint16_t *value);
bool pp_parse_run(const char **text, uint8_t *entry, uint16_t *pixels);

/* pp_reply.c: lines to the host. */
void pp_put(pp_board *board, char byte);
void pp_put_text(pp_board *board, const char *flash_text);
void pp_put_number(pp_board *board, uint32_t number);
void pp_put_hex(pp_board *board, uint8_t byte);
void pp_put_key_number(pp_board *board, const char *flash_key, uint32_t number);
void pp_put_cause(pp_board *board);
void pp_reply_ok(pp_board *board, const pp_order *order);
void pp_reply_error(pp_board *board, const pp_order *order, uint8_t code);
void pp_notice(pp_board *board, const char *flash_word);
void pp_end_line(pp_board *board);

/* pp_picture.c: what is lit. */
enum { PP_SHOWN_NONE, PP_SHOWN_RUN, PP_SHOWN_NUMBERS, PP_SHOWN_RAW };
void pp_send_frame(pp_board *board, uint8_t output, const pp_frame *frame);
void pp_forget_shown(pp_chain *chain);
void pp_chain_reset(pp_chain *chain);
uint32_t pp_need_uA(uint16_t count, uint32_t sum);
uint32_t pp_need_mA(uint16_t count, uint32_t sum);
void pp_to_wire(const pp_chain *chain, const uint8_t rgbw[PP_COLOURS_MAX], pp_wire_colour wire);
uint8_t pp_show_run(pp_board *board, uint8_t output, uint16_t first, uint16_t count,
                    const uint8_t rgbw[PP_COLOURS_MAX], pp_order *order);
void pp_show_dark(pp_board *board, uint8_t output);
void pp_show_all_dark(pp_board *board);
void pp_forget_staged(pp_chain *chain);
void pp_forget_palette(pp_chain *chain);
void pp_end_pattern(pp_chain *chain);
uint8_t pp_check_ceiling(const pp_chain *chain, uint32_t sum, pp_order *order);
#if PP_FEATURE_PAINT
void pp_stage(pp_chain *chain, uint16_t first, uint16_t count, uint8_t entry);
uint8_t pp_show_staged(pp_board *board, uint8_t output, pp_order *order);
#endif

/* pp_orders.c: orders carried out. */
void pp_answer_line(pp_board *board);

/* pp_feature_orders.c: orders of the features table, play, pattern, inputs and count. */
uint8_t pp_read_output(const pp_order *order, uint8_t *output);
uint8_t pp_read_colour(const char *text, const pp_chain *chain, uint8_t rgbw[PP_COLOURS_MAX]);
uint8_t pp_order_table(pp_board *board, pp_order *order);
uint8_t pp_order_write(pp_board *board, pp_order *order);
uint8_t pp_order_read(pp_board *board, pp_order *order);
uint8_t pp_order_commit(pp_board *board, pp_order *order);
uint8_t pp_order_erase(pp_board *board, pp_order *order);
uint8_t pp_order_play(pp_board *board, pp_order *order);
uint8_t pp_order_lamp(pp_board *board, pp_order *order);
uint8_t pp_order_group(pp_board *board, pp_order *order);
uint8_t pp_order_run(pp_board *board, pp_order *order);
uint8_t pp_order_running(pp_board *board, pp_order *order);
uint8_t pp_order_inputs(pp_board *board, pp_order *order);
uint8_t pp_order_edges(pp_board *board, pp_order *order);
uint8_t pp_order_linger(pp_board *board, pp_order *order);
uint8_t pp_order_watch(pp_board *board, pp_order *order);
uint8_t pp_order_count(pp_board *board, pp_order *order);

#if PP_FEATURE_TABLE

/* A chain as the table has it (SPEC 12.3). */
typedef struct pp_table_chain {
    uint16_t count, ceiling_mA, latch_us;
    uint8_t output, colours;
    uint8_t order[PP_COLOURS_MAX];
} pp_table_chain;

/* One pixel of a lamp or group (SPEC 12.5). */
typedef struct pp_entry {
    uint16_t number; /* of the lamp or group */
    uint16_t pixel;
    uint8_t output, level;
    uint8_t colour; /* number of the colour record, or 15 */
    bool group, starts_dark;
    uint8_t rgbw[PP_COLOURS_MAX];
} pp_entry;

/* Goes through the bytes of an image. */
typedef struct pp_reader {
    pp_board *board;
    uint16_t base;   /* of the image in the memory */
    uint16_t at;     /* of the next byte in the image */
    uint16_t end;    /* of the image */
    uint16_t record; /* of the record being read */
    uint16_t lamp;   /* number of the last lamp */
    uint8_t outputs, colours;
    bool any;
    pp_entry entry; /* the last one read */
} pp_reader;

enum { PP_END, PP_ENTRY, PP_BROKEN };

/* pp_table.c: the two copies, and reading an image. */
void pp_table_start(pp_board *board);
void pp_table_stage(pp_board *board, uint16_t offset, uint8_t byte);
uint8_t pp_table_byte(pp_board *board, uint16_t offset);
uint8_t pp_table_commit(pp_board *board, uint16_t length, uint16_t crc, uint32_t revision, pp_order *order);
void pp_table_erase(pp_board *board);
bool pp_reader_begin(pp_reader *reader, pp_board *board);
void pp_reader_chain(const pp_reader *reader, uint8_t index, pp_table_chain *chain);
void pp_reader_colour(const pp_reader *reader, uint8_t number, uint8_t rgbw[PP_COLOURS_MAX]);
void pp_entry_colour(pp_reader *reader);
uint8_t pp_reader_next(pp_reader *reader);

#endif
#if PP_FEATURE_PLAY

/* pp_play.c: the game's lamps. */
uint16_t pp_play_pixels_of(uint8_t colours);
uint16_t pp_key_of(const pp_entry *entry);
void pp_play_begin_table(pp_board *board);
void pp_play_poll(pp_board *board, uint32_t now_ms);
void pp_play_darken(pp_board *board);
uint16_t pp_play_show_key(pp_board *board, uint16_t key, uint8_t level);

#endif

/* Gives the pixels to the host; what the table lit goes dark (SPEC 13.2). */
#if PP_FEATURE_PLAY
void pp_take_pixels(pp_board *board);
#else
#define pp_take_pixels(board) ((void)(board))
#endif

#if PP_FEATURE_PATTERN
/* pp_pattern.c: patterns by the board's own clock. */
enum { PP_ALL, PP_WALK };
enum { PP_SEND, PP_ONCE, PP_TURNS };
enum { PP_LIVE, PP_HOLD };
uint8_t pp_pattern_start(pp_board *board, uint8_t output, const pp_pattern *pattern, pp_order *order);
void pp_pattern_poll(pp_board *board, uint32_t now_ms);
#endif

#if PP_FEATURE_INPUTS
/* pp_inputs.c: the lamp inputs. */
void pp_inputs_poll(pp_board *board, uint32_t now_ms);
void pp_put_input_bits(pp_board *board, uint8_t first);
void pp_inputs_tell(pp_board *board, uint32_t now_ms);
#endif

/* pp_button.c: the step button. */
void pp_button_poll(pp_board *board, uint32_t now_ms);

#endif
