/* Shape of an order, and the forms of its arguments (SPEC 2.5 to 2.7). SPDX-License-Identifier: MIT */
#include "pp_internal.h"

#define DIGITS_MAX 9
#define WORD_MAX 12

/* Value of an upper-case hexadecimal digit, or -1. */
static int8_t hex_digit(char c)
{
    if (c >= '0' && c <= '9')
        return (int8_t)(c - '0');
    if (c >= 'A' && c <= 'F')
        return (int8_t)(c - 'A' + 10);
    return -1;
}

/* Reads `digits` hexadecimal digits. */
bool pp_parse_hex(const char *text, uint8_t digits, uint16_t *value)
{
    uint16_t sum = 0;
    while (digits--) {
        int8_t digit = hex_digit(*text++);
        if (digit < 0)
            return false;
        sum = (uint16_t)((sum << 4) | (uint8_t)digit);
    }
    *value = sum;
    return true;
}

/* Checks the length of one part of a line; the first part is the word. */
static bool part_fits(const char *start, const char *end, bool is_word)
{
    if (start == end)
        return false;
    if (!is_word)
        return true;
    if (end - start > WORD_MAX)
        return false;
    for (; start < end; start++)
        if (*start < 'a' || *start > 'z')
            return false;
    return true;
}

/* Takes the line in the buffer, bytes 0x20 to 0x7E, apart in place; PP_OK, 10 or 11. */
uint8_t pp_parse_order(pp_board *board, pp_order *order)
{
    char *line = board->line;
    uint8_t length = board->line_length;
    /* The shortest order is ">00 a*0000". */
    if (length < 10)
        return PP_MALFORMED;
    char *star = line + length - 5;
    uint16_t stated, ignored;
    if (line[0] != '>' || !pp_parse_hex(line + 1, 2, &ignored) || line[3] != ' ' || board->line_star != length - 5
        || !pp_parse_hex(star + 1, 4, &stated))
        return PP_MALFORMED;
    order->seq[0] = line[1];
    order->seq[1] = line[2];
    order->arguments = 0;
    order->word = line + 4;
    char *part = line + 4;
    bool is_word = true;
    for (char *p = part;; p++) {
        if (p < star && *p != ' ')
            continue;
        if (!part_fits(part, p, is_word))
            return PP_MALFORMED;
        if (!is_word) {
            if (order->arguments < PP_ARGUMENTS_KEPT)
                order->argument[order->arguments] = part;
            order->arguments++;
        }
        is_word = false;
        *p = '\0';
        if (p == star)
            break;
        part = p + 1;
    }
    return board->line_crc == stated ? PP_OK : PP_CHECKSUM;
}

/* Reads a decimal number of 1 to 9 digits without leading zeros. */
bool pp_parse_number(const char *text, uint32_t *value)
{
    uint32_t sum = 0;
    uint8_t digits = 0;
    if (text[0] == '0' && text[1] != '\0')
        return false;
    for (; *text; text++) {
        if (*text < '0' || *text > '9' || ++digits > DIGITS_MAX)
            return false;
        sum = sum * 10 + (uint8_t)(*text - '0');
    }
    *value = sum;
    return digits > 0;
}

/* Reads RRGGBB or RRGGBBWW. */
bool pp_parse_colour(const char *text, uint8_t rgbw[PP_COLOURS_MAX])
{
    size_t length = strlen(text);
    if (length != 6 && length != 8)
        return false;
    rgbw[3] = 0;
    for (uint8_t i = 0; i < length / 2; i++) {
        uint16_t value;
        if (!pp_parse_hex(text + 2 * i, 2, &value))
            return false;
        rgbw[i] = (uint8_t)value;
    }
    return true;
}

/* Reads a permutation of RGB or of RGBW. */
bool pp_parse_byte_order(const char *text, uint8_t order[PP_COLOURS_MAX], uint8_t *colours)
{
    uint8_t seen = 0, n = 0;
    for (; *text; text++, n++) {
        uint8_t colour = *text == 'R' ? 0 : *text == 'G' ? 1 : *text == 'B' ? 2 : *text == 'W' ? 3 : 4;
        if (colour == 4 || (seen & (1u << colour)))
            return false;
        seen |= (uint8_t)(1u << colour);
        order[n] = colour;
    }
    *colours = n;
    return seen == 0x07 || seen == 0x0F;
}

/* Reads one run of `paint`, a letter a to p and perhaps a number 2 to 65535, and moves on behind it. */
bool pp_parse_run(const char **text, uint8_t *entry, uint16_t *pixels)
{
    const char *p = *text;
    if (*p < 'a' || *p > 'p')
        return false;
    *entry = (uint8_t)(*p++ - 'a');
    *pixels = 1;
    if (*p >= '0' && *p <= '9') {
        uint32_t sum = 0;
        if (*p == '0')
            return false;
        for (; *p >= '0' && *p <= '9'; p++) {
            sum = sum * 10 + (uint8_t)(*p - '0');
            if (sum > 65535)
                return false;
        }
        if (sum < 2)
            return false;
        *pixels = (uint16_t)sum;
    }
    *text = p;
    return true;
}
