/* The game's lamp inputs: a pin each, shift registers, or a strobed matrix (SPEC 14). SPDX-License-Identifier: MIT */
#include "../../board_config.h"

#if defined(__AVR__) && !PP_GENERIC

#include <avr/io.h>
#include <util/delay.h>

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

/* An optocoupler takes up to 250 us to let go: for so long a lamp of the column before shows in this one (SPEC 14.5). */
#define LET_GO_US 300
#define BETWEEN_LOOKS_US 50

/* Looks at the column that is strobed alone: 0 when there is none, or when it changed meanwhile. */
static uint8_t look(uint8_t *bits)
{
    uint8_t column = columns();
    if (!column || (column & (uint8_t)(column - 1)))
        return 0;
    _delay_us(LET_GO_US);
    *bits = rows();
    _delay_us(BETWEEN_LOOKS_US);
    *bits &= rows();
    return columns() == column ? column : 0;
}

/* The lamps of one column that two looks have seen, both after the column before has let go. One try more when the strobe
 * moved on meanwhile: a board whose looks keep step with the strobe would else never see some columns. */
bool pp_avr_read_inputs(void *self, uint8_t group, uint8_t *bits)
{
    static uint8_t column, seen;
    (void)self;
    if (group == 0) {
        column = look(&seen);
        if (!column)
            column = look(&seen);
    }
    *bits = seen;
    return column & (uint8_t)(1u << group);
}

#elif PP_AVR_SHIFT

#define LOAD (1u << PP_AVR_SHIFT_LOAD_BIT)
#define CLOCK (1u << PP_AVR_SHIFT_CLOCK_BIT)
#define DATA (1u << PP_AVR_SHIFT_DATA_BIT)
#define SHIFT(name) PP_AVR_REGISTER(name, PP_AVR_SHIFT_PORT)
#define SETTLE() _delay_us(0.5) /* the registers need 50 ns; a metre of wire more */

/* Makes load and clock outputs at rest, data an input whose pull-up reads a chain that is not there as nothing on. */
void pp_avr_inputs_setup(void)
{
    SHIFT(PORT) |= LOAD | DATA;
    SHIFT(PORT) &= (uint8_t)~CLOCK;
    SHIFT(DDR) |= LOAD | CLOCK;
    SHIFT(DDR) &= (uint8_t)~DATA;
}

/* Eight inputs: all registers load at once before the first eight, so that every look is of one moment. */
bool pp_avr_read_inputs(void *self, uint8_t group, uint8_t *bits)
{
    uint8_t byte = 0;
    (void)self;
    if (group == 0) {
        SHIFT(PORT) &= (uint8_t)~LOAD;
        SETTLE();
        SHIFT(PORT) |= LOAD;
    }
    for (uint8_t i = 0; i < 8; i++) {
        SETTLE();
        byte = (uint8_t)(byte << 1 | (SHIFT(PIN) & DATA ? 1 : 0));
        SHIFT(PORT) |= CLOCK;
        SETTLE();
        SHIFT(PORT) &= (uint8_t)~CLOCK;
    }
    *bits = PP_AVR_INPUTS_ACTIVE_LOW ? (uint8_t)~byte : byte;
    return true;
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
