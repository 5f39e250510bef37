/* Lamp inputs: hold-on time, edge counts, notices that never flood the line (SPEC 14). SPDX-License-Identifier: MIT */
#include "pp_internal.h"

#if PP_FEATURE_INPUTS

#define TELL_MS 100
#define GROUPS ((PP_INPUTS + 7) / 8)
#define A_LINE 64

/* An input has gone on or off, by the hold-on time. */
static void changed(pp_board *board, uint8_t input, bool on)
{
    if (board->inputs.watched)
        board->inputs.untold = true;
#if PP_FEATURE_PLAY
    int32_t lamp = PP_INPUT_LAMP(input);
    if (lamp >= 0 && lamp <= PP_LAMPS)
        pp_lamp_on(board, (uint16_t)lamp, on);
#else
    (void)input;
    (void)on;
#endif
}

/* Looks at eight inputs. */
static void look(pp_board *board, uint8_t group, uint8_t elapsed_ms)
{
    pp_inputs *inputs = &board->inputs;
    uint8_t bits = 0, raw = inputs->raw[group];
    bool seen = board->port->read_inputs(board->self, group, &bits);
    if (seen)
        inputs->raw[group] = bits;
    else
        bits = 0;
    for (uint8_t bit = 0; bit < 8; bit++) {
        uint8_t place = (uint8_t)(group * 8 + bit), mask = (uint8_t)(1u << bit);
        if (place >= PP_INPUTS)
            return;
        if (bits & mask) {
            if (!(raw & mask))
                inputs->edges[place]++;
            inputs->left[place] = inputs->linger_ms;
        } else {
            uint8_t left = inputs->left[place];
            inputs->left[place] = left > elapsed_ms ? (uint8_t)(left - elapsed_ms) : 0;
        }
        bool on = inputs->left[place] > 0;
        if (on != ((inputs->on[group] & mask) != 0)) {
            inputs->on[group] ^= mask;
            changed(board, (uint8_t)(place + 1), on);
        }
    }
}

/* Looks at all inputs. */
void pp_inputs_poll(pp_board *board, uint32_t now_ms)
{
    uint32_t passed = now_ms - board->inputs.looked_ms;
    board->inputs.looked_ms = now_ms;
    for (uint8_t group = 0; group < GROUPS; group++)
        look(board, group, passed > 255 ? 255 : (uint8_t)passed);
}

/* Sends the states of up to 64 inputs from one on, two digits for each eight. */
void pp_put_input_bits(pp_board *board, uint8_t first)
{
    uint16_t place = (uint16_t)(first - 1), end = (uint16_t)(place + A_LINE);
    if (end > PP_INPUTS)
        end = PP_INPUTS;
    while (place < end) {
        uint8_t byte = 0;
        for (uint8_t bit = 0; bit < 8 && place < end; bit++, place++)
            if (board->inputs.on[place >> 3] & (1u << (place & 7)))
                byte |= (uint8_t)(1u << bit);
        pp_put_hex(board, byte);
    }
}

/* Sends the notices that wait, if their time has come. */
void pp_inputs_tell(pp_board *board, uint32_t now_ms)
{
    pp_inputs *inputs = &board->inputs;
    if (!inputs->untold || (inputs->told && now_ms - inputs->told_ms < TELL_MS))
        return;
    inputs->untold = false;
    inputs->told = true;
    inputs->told_ms = now_ms;
    for (uint16_t first = 1; first <= PP_INPUTS; first = (uint16_t)(first + A_LINE)) {
        pp_notice(board, PP_FLASH_TEXT("inputs"));
        pp_put_key_number(board, PP_FLASH_TEXT(""), first);
        pp_put(board, ' ');
        pp_put_input_bits(board, (uint8_t)first);
        pp_end_line(board);
    }
}

#endif
