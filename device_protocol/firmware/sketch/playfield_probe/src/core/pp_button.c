/* The hand-held step button, debounced (SPEC 7.3). SPDX-License-Identifier: MIT */
#include "pp_internal.h"

#if PP_FEATURE_BUTTON

#define DEBOUNCE_MS 25 /* SPEC 7.3: 20 to 50 */

/* Looks at the contact; a state that has lasted the debounce time counts. */
void pp_button_poll(pp_board *board, uint32_t now_ms)
{
    bool closed = board->port->button_closed(board->self);
    if (closed == board->button_down) {
        board->button_changing = false;
    } else if (!board->button_changing) {
        board->button_changing = true;
        board->button_changed_ms = now_ms;
    } else if (now_ms - board->button_changed_ms >= DEBOUNCE_MS) {
        board->button_changing = false;
        board->button_down = closed;
        if (closed)
            board->button_total++;
    }
}

#endif
