/* The game's lamp inputs: a pin each, or a strobed matrix (SPEC 14). SPDX-License-Identifier: MIT */
#include "../../board_config.h"

#if defined(__AVR__) && !PP_GENERIC

#include <avr/io.h>

#include "pp_avr_internal.h"

#if PP_FEATURE_INPUTS

#define PULL_UP(letter, bit) \
    PP_AVR_REGISTER(DDR, letter) &= (uint8_t)~(1u << (bit)); \
    PP_AVR_REGISTER(PORT, letter) |= (uint8_t)(1u << (bit));

/* Adds a pin to `bits`, the first named in the lowest bit at the end. */
#define GATHER(letter, bit) bits = (uint8_t)(bits >> 1 | (PP_AVR_REGISTER(PIN, letter) & (1u << (bit)) ? 0x80 : 0));

#if PP_AVR_MATRIX

#if PP_INPUTS != 64
#error "a matrix of 8 rows and 8 columns has 64 inputs: set PP_INPUTS to 64"
#endif

/* Makes every pin of the matrix an input. */
void pp_avr_inputs_setup(void)
{
    PP_AVR_MATRIX_ROWS(PULL_UP)
    PP_AVR_MATRIX_COLUMNS(PULL_UP)
}

/* Levels of the column pins, 1 for a column that is strobed. */
static uint8_t columns(void)
{
    uint8_t bits = 0;
    PP_AVR_MATRIX_COLUMNS(GATHER)
    return PP_AVR_INPUTS_ACTIVE_LOW ? (uint8_t)~bits : bits;
}

/* Levels of the row pins, 1 for a lamp that is on. */
static uint8_t rows(void)
{
    uint8_t bits = 0;
    PP_AVR_MATRIX_ROWS(GATHER)
    return PP_AVR_INPUTS_ACTIVE_LOW ? (uint8_t)~bits : bits;
}

/* The rows of a column, while it alone is strobed: looked at twice, for the strobe may move on in between. */
bool pp_avr_read_inputs(void *self, uint8_t group, uint8_t *bits)
{
    (void)self;
    if (columns() != (uint8_t)(1u << group))
        return false;
    *bits = rows();
    return columns() == (uint8_t)(1u << group) && rows() == *bits;
}

#else

#if PP_INPUTS > 16 || (PP_INPUTS > 8 && !defined(PP_AVR_INPUTS_9_TO_16))
#error "name the pins of every lamp input: PP_AVR_INPUTS_1_TO_8 and PP_AVR_INPUTS_9_TO_16"
#endif

/* Makes every pin an input with a pull-up. */
void pp_avr_inputs_setup(void)
{
    PP_AVR_INPUTS_1_TO_8(PULL_UP)
#if PP_INPUTS > 8
    PP_AVR_INPUTS_9_TO_16(PULL_UP)
#endif
}

/* Eight inputs, each of which can be seen at any time. */
bool pp_avr_read_inputs(void *self, uint8_t group, uint8_t *result)
{
    uint8_t bits = 0;
    (void)self;
    (void)group;
#if PP_INPUTS > 8
    if (group == 1) {
        PP_AVR_INPUTS_9_TO_16(GATHER)
    } else
#endif
    {
        PP_AVR_INPUTS_1_TO_8(GATHER)
    }
    *result = PP_AVR_INPUTS_ACTIVE_LOW ? (uint8_t)~bits : bits;
    return true;
}

#endif
#endif
#endif
