/* Replies and notices, sent byte by byte with the CRC reckoned on the way. SPDX-License-Identifier: MIT */
#include "pp_internal.h"

/* The names of SPEC 8, each entry: code, then the name in the shortest array that holds the longest. */
static const struct {
    uint8_t code;
    char name[16];
} error_names[] PP_FLASH = {
    {PP_MALFORMED, "malformed"},
    {PP_CHECKSUM, "checksum"},
    {PP_OVERLONG, "overlong"},
    {PP_FORBIDDEN_BYTE, "forbidden-byte"},
    {PP_LOST_BYTES, "lost-bytes"},
    {PP_UNKNOWN_ORDER, "unknown-order"},
    {PP_ARGUMENT_COUNT, "argument-count"},
    {PP_BAD_VALUE, "bad-value"},
    {PP_NO_SUCH_FEATURE, "no-such-feature"},
    {PP_NO_SUCH_OUTPUT, "no-such-output"},
    {PP_NO_SUCH_PIXEL, "no-such-pixel"},
    {PP_CEILING, "ceiling"},
    {PP_TOO_MANY_PIXELS, "too-many-pixels"},
    {PP_NOT_READY, "not-ready"},
    {PP_INCOMPLETE, "incomplete"},
    {PP_OUT_OF_STEP, "out-of-step"},
    {PP_MISMATCH, "mismatch"},
    {PP_BAD_TABLE, "bad-table"},
    {PP_NOT_IN_TABLE, "not-in-table"},
    {PP_INTERNAL, "internal"}, /* the last one: taken for any code not found */
};
#define ERROR_NAMES (sizeof error_names / sizeof error_names[0])

/* Sends one byte of a line. */
void pp_put(pp_board *board, char byte)
{
    board->crc = pp_crc(board->crc, (uint8_t)byte);
    board->port->send(board->self, (uint8_t)byte);
}

/* Sends a constant text. */
void pp_put_text(pp_board *board, const char *flash_text)
{
    char c;
    while ((c = (char)PP_FLASH_BYTE(flash_text++)))
        pp_put(board, c);
}

/* Sends a number in decimal. */
void pp_put_number(pp_board *board, uint32_t number)
{
    char digits[10];
    uint8_t n = 0;
    do {
        digits[n++] = (char)('0' + number % 10);
        number /= 10;
    } while (number);
    while (n)
        pp_put(board, digits[--n]);
}

/* Sends a space, a constant text (a key with its `=`, or nothing) and a number. */
void pp_put_key_number(pp_board *board, const char *flash_key, uint32_t number)
{
    pp_put(board, ' ');
    pp_put_text(board, flash_key);
    pp_put_number(board, number);
}

/* Sends the word for the cause of the last restart. */
void pp_put_cause(pp_board *board)
{
    switch (board->cause) {
    case PP_CAUSE_POWER: pp_put_text(board, PP_FLASH_TEXT("power")); break;
    case PP_CAUSE_EXTERNAL: pp_put_text(board, PP_FLASH_TEXT("external")); break;
    case PP_CAUSE_BROWNOUT: pp_put_text(board, PP_FLASH_TEXT("brownout")); break;
    case PP_CAUSE_WATCHDOG: pp_put_text(board, PP_FLASH_TEXT("watchdog")); break;
    default: pp_put_text(board, PP_FLASH_TEXT("unknown")); break;
    }
}

/* Sends one upper-case hexadecimal digit. */
static void put_hex_digit(pp_board *board, uint8_t value)
{
    value &= 15;
    pp_put(board, (char)(value < 10 ? '0' + value : 'A' - 10 + value));
}

/* Sends a byte as two hexadecimal digits. */
void pp_put_hex(pp_board *board, uint8_t byte)
{
    put_hex_digit(board, (uint8_t)(byte >> 4));
    put_hex_digit(board, byte);
}

/* Begins a line: its first byte and two bytes of number. */
static void begin_line(pp_board *board, char kind, char high, char low)
{
    board->crc = 0xFFFF;
    pp_put(board, kind);
    pp_put(board, high);
    pp_put(board, low);
    pp_put(board, ' ');
}

/* Begins the good reply to an order. */
void pp_reply_ok(pp_board *board, const pp_order *order)
{
    begin_line(board, '<', order->seq[0], order->seq[1]);
    pp_put_text(board, PP_FLASH_TEXT("ok"));
}

/* Sends the whole error reply; codes 10 to 14 come without the order's number (SPEC 8.1). */
void pp_reply_error(pp_board *board, const pp_order *order, uint8_t code)
{
    bool damaged = code <= PP_LOST_BYTES;
    begin_line(board, '!', damaged ? '-' : order->seq[0], damaged ? '-' : order->seq[1]);
    pp_put_number(board, code);
    pp_put(board, ' ');
    uint8_t i = 0;
    while (i < ERROR_NAMES - 1 && PP_FLASH_BYTE(&error_names[i].code) != code)
        i++;
    pp_put_text(board, error_names[i].name);
    if (code == PP_CEILING) {
        pp_put_key_number(board, PP_FLASH_TEXT("need="), order->need_mA);
        pp_put_key_number(board, PP_FLASH_TEXT("ceiling="), order->ceiling_mA);
    } else if (code == PP_INCOMPLETE || code == PP_OUT_OF_STEP) {
        pp_put_key_number(board, PP_FLASH_TEXT("staged="), order->staged);
    } else if (code == PP_BAD_TABLE) {
        pp_put_key_number(board, PP_FLASH_TEXT("at="), order->at);
    }
    pp_end_line(board);
}

/* Begins a notice and counts it. */
void pp_notice(pp_board *board, const char *flash_word)
{
    uint8_t high = board->notice_number >> 4, low = board->notice_number & 15;
    board->notice_number++;
    begin_line(board, '~', (char)(high < 10 ? '0' + high : 'A' - 10 + high),
               (char)(low < 10 ? '0' + low : 'A' - 10 + low));
    pp_put_text(board, flash_word);
}

/* Ends any line with its CRC and LF. */
void pp_end_line(pp_board *board)
{
    uint16_t crc = board->crc;
    pp_put(board, '*');
    put_hex_digit(board, (uint8_t)(crc >> 12));
    put_hex_digit(board, (uint8_t)(crc >> 8));
    put_hex_digit(board, (uint8_t)(crc >> 4));
    put_hex_digit(board, (uint8_t)crc);
    pp_put(board, '\n');
}
