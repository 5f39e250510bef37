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
    PP_INTERNAL = 40
};

#define PP_ARGUMENTS_KEPT 6 /* the most that any order has: palette */

/* A line taken apart; the texts lie in the line buffer, each ended by NUL. */
typedef struct pp_order {
    const char *word;
    const char *argument[PP_ARGUMENTS_KEPT]; /* those beyond are counted, not kept */
    uint8_t arguments;
    char seq[2];
    uint16_t staged;   /* field of errors 35 and 36 */
    uint32_t need_mA;  /* fields of error 32 */
    uint32_t ceiling_mA;
} pp_order;

/* pp_line.c: bytes to lines. */
bool pp_line_take(pp_board *board, uint8_t byte);
void pp_line_mark_lost(pp_board *board);
uint8_t pp_line_damage(const pp_board *board);
void pp_line_clear(pp_board *board);

/* pp_parse.c: a line to an order, an argument to a value. */
uint8_t pp_parse_order(char *line, uint8_t length, pp_order *order);
bool pp_parse_number(const char *text, uint32_t *value);
bool pp_parse_colour(const char *text, uint8_t rgbw[PP_COLOURS_MAX]);
bool pp_parse_byte_order(const char *text, uint8_t order[PP_COLOURS_MAX], uint8_t *colours);
bool pp_parse_run(const char **text, uint8_t *entry, uint16_t *pixels);

/* pp_reply.c: lines to the host. */
void pp_put(pp_board *board, char byte);
void pp_put_text(pp_board *board, const char *flash_text);
void pp_put_number(pp_board *board, uint32_t number);
void pp_put_key_number(pp_board *board, const char *flash_key, uint32_t number);
void pp_put_cause(pp_board *board);
void pp_reply_ok(pp_board *board, const pp_order *order);
void pp_reply_error(pp_board *board, const pp_order *order, uint8_t code);
void pp_notice(pp_board *board, const char *flash_word);
void pp_end_line(pp_board *board);

/* pp_picture.c: what is lit. */
void pp_chain_reset(pp_chain *chain);
uint32_t pp_need_mA(uint16_t count, uint32_t sum);
void pp_to_wire(const pp_chain *chain, const uint8_t rgbw[PP_COLOURS_MAX], pp_wire_colour wire);
uint8_t pp_show_run(pp_board *board, uint8_t output, uint16_t first, uint16_t count,
                    const uint8_t rgbw[PP_COLOURS_MAX], pp_order *order);
void pp_show_dark(pp_board *board, uint8_t output);
void pp_show_all_dark(pp_board *board);
void pp_forget_staged(pp_chain *chain);
#if PP_FEATURE_PAINT
void pp_stage(pp_chain *chain, uint16_t first, uint16_t count, uint8_t entry);
uint8_t pp_show_staged(pp_board *board, uint8_t output, pp_order *order);
#endif

/* pp_orders.c: orders carried out. */
void pp_answer_line(pp_board *board);

/* pp_button.c: the step button. */
void pp_button_poll(pp_board *board, uint32_t now_ms);

#endif
