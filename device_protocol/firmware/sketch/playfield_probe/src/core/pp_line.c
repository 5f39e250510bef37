/* Bytes from the line, gathered until LF. SPDX-License-Identifier: MIT */
#include "pp_internal.h"

/* Adds a byte to the line, or notes why it cannot stay. */
static void add(pp_board *board, uint8_t byte)
{
    if (byte < 0x20 || byte > 0x7E)
        board->line_forbidden = true;
    if (board->line_length == PP_LINE) {
        board->line_overlong = true;
        return;
    }
    if (board->line_star == PP_NO_STAR) {
        if (byte == '*')
            board->line_star = board->line_length;
        else
            board->line_crc = pp_crc(board->line_crc, byte);
    }
    board->line[board->line_length++] = (char)byte;
}

/* Takes one byte; true when it ended a line that has to be answered. */
bool pp_line_take(pp_board *board, uint8_t byte)
{
    if (byte == '\n') {
        if (board->line_length > 0 || board->line_lost)
            return true;
        pp_line_clear(board); /* empty: no reply (SPEC 2.3) */
        return false;
    }
    if (board->line_cr) { /* that CR was not directly before LF: a byte of the line like any other */
        board->line_cr = false;
        add(board, '\r');
    }
    if (byte == '\r')
        board->line_cr = true;
    else
        add(board, byte);
    return false;
}

/* Notes that bytes of the line now arriving, or of the next one, were lost (SPEC 3.8). */
void pp_line_mark_lost(pp_board *board)
{
    board->line_lost = true;
}

/* The first reason, in the order of SPEC 3.5, why the ended line cannot be read; PP_OK if it can. */
uint8_t pp_line_damage(const pp_board *board)
{
    if (board->line_lost)
        return PP_LOST_BYTES;
    if (board->line_overlong)
        return PP_OVERLONG;
    if (board->line_forbidden)
        return PP_FORBIDDEN_BYTE;
    return PP_OK;
}

/* Makes room for the next line. */
void pp_line_clear(pp_board *board)
{
    board->line_length = 0;
    board->line_star = PP_NO_STAR;
    board->line_crc = 0xFFFF;
    board->line_lost = false;
    board->line_overlong = false;
    board->line_forbidden = false;
    board->line_cr = false;
}
