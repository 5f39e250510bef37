/* Start, main step, silence and notices. SPDX-License-Identifier: MIT */
#include "pp_internal.h"

/* Names longer than the protocol allows stop the build here (SPEC 5.3). */
typedef char pp_board_name_fits[sizeof(PP_BOARD_NAME) - 1 >= 1 && sizeof(PP_BOARD_NAME) - 1 <= 24 ? 1 : -1];
typedef char pp_build_name_fits[sizeof(PP_BUILD_NAME) - 1 >= 1 && sizeof(PP_BUILD_NAME) - 1 <= 16 ? 1 : -1];

/* Brings a board up: darkens every output, then sends `restarted`. */
void pp_start(pp_board *board, const pp_port *port, void *self, uint8_t cause)
{
    memset(board, 0, sizeof *board);
    board->port = port;
    board->self = self;
    board->cause = cause;
    board->silence_ms = PP_SILENCE_MS;
    pp_line_clear(board);
    board->started_ms = port->now_ms(self);
    for (uint8_t output = 0; output < PP_OUTPUTS; output++)
        pp_chain_reset(&board->chains[output]);
    pp_show_all_dark(board);
    pp_notice(board, PP_FLASH_TEXT("restarted "));
    pp_put_cause(board);
    pp_end_line(board);
#if PP_FEATURE_INPUTS
    board->inputs.linger_ms = 25; /* SPEC 5.26 */
    board->inputs.looked_ms = board->started_ms;
#endif
#if PP_FEATURE_TABLE
    pp_table_start(board);
#endif
#if PP_FEATURE_PLAY
    board->play_ms = board->started_ms;
    pp_play_begin_table(board);
    board->game = board->table.revision != 0;
#endif
}

/* Is an output's pattern exempt from the silence rule? */
static bool holds(const pp_chain *chain)
{
#if PP_FEATURE_PATTERN
    return chain->pattern.colours && chain->pattern.keep == PP_HOLD;
#else
    (void)chain;
    return false;
#endif
}

/* Goes dark once the host has been silent for the silence time (SPEC 4.2). */
static void mind_silence(pp_board *board, uint32_t now_ms)
{
    if (!board->silence_runs || now_ms - board->last_order_ms < board->silence_ms)
        return;
    board->silence_runs = false;
#if PP_FEATURE_INPUTS
    board->inputs.watched = board->inputs.untold = false;
#endif
#if PP_FEATURE_PLAY
    if (board->game)
        return;
#endif
    uint8_t holding = 0;
    for (uint8_t output = 0; output < PP_OUTPUTS; output++)
        if (holds(&board->chains[output]))
            holding++;
        else
            pp_show_dark(board, output);
    board->dark_untold = holding < PP_OUTPUTS;
#if PP_FEATURE_PLAY
    board->give_back = holding == 0 && board->table.revision;
    board->dark_ms = now_ms;
#endif
}

/* Sends the notices that wait. */
static void send_notices(pp_board *board, uint32_t now_ms)
{
    if (board->dark_untold) {
        board->dark_untold = false;
        pp_notice(board, PP_FLASH_TEXT("dark silence"));
        pp_end_line(board);
    }
#if PP_FEATURE_PLAY
    if (board->game_untold) {
        board->game_untold = false;
        pp_notice(board, PP_FLASH_TEXT("play game"));
        pp_end_line(board);
    }
#endif
#if PP_FEATURE_BUTTON
    if (board->button_total != board->button_told) {
        board->button_told = board->button_total;
        pp_notice(board, PP_FLASH_TEXT("button"));
        pp_put_key_number(board, PP_FLASH_TEXT(""), board->button_total);
        pp_end_line(board);
    }
#endif
#if PP_FEATURE_INPUTS
    pp_inputs_tell(board, now_ms);
#endif
    (void)now_ms;
}

/* Takes what has come, answers at most one line, minds silence and button; false when nothing had come. */
bool pp_poll(pp_board *board)
{
    bool came = false;
    for (;;) {
        int16_t byte = board->port->receive(board->self);
        if (byte == PP_NOTHING)
            break;
        came = true;
        if (byte == PP_LOST) {
            pp_line_mark_lost(board);
        } else if (pp_line_take(board, (uint8_t)byte)) {
            pp_answer_line(board);
            pp_line_clear(board);
            break;
        }
    }
    uint32_t now_ms = board->port->now_ms(board->self);
#if PP_FEATURE_BUTTON
    pp_button_poll(board, now_ms);
#endif
#if PP_FEATURE_INPUTS
    pp_inputs_poll(board, now_ms);
#endif
    mind_silence(board, now_ms);
#if PP_FEATURE_PLAY
    pp_play_poll(board, now_ms);
#endif
#if PP_FEATURE_PATTERN
    pp_pattern_poll(board, now_ms);
#endif
    if (!came) /* so that no notice slips between an order that waits and its reply (SPEC 7.1) */
        send_notices(board, now_ms);
    return came;
}
