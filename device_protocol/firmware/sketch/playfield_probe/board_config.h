/* What this build of the board is: edit here, or override any value with -D on the compiler's command line.
 *
 * Every value that `id` states comes from this file. SPEC.md, section 5.3, says what each means.
 * SPDX-License-Identifier: MIT
 */
#ifndef BOARD_CONFIG_H
#define BOARD_CONFIG_H

/* 0: the port written for this chip (src/avr); 1: the generic port (src/generic), which needs `Serial`, `millis()` and one
 * function that sends bytes to an output. */
#ifndef PP_GENERIC
#if defined(__AVR_ATmega328P__) || defined(__AVR_ATmega328__) || defined(__AVR_ATmega168P__) || defined(__AVR_ATmega168__) \
    || defined(__AVR_ATmega2560__) || defined(__AVR_ATmega1280__) || !defined(ARDUINO)
#define PP_GENERIC 0
#else
#define PP_GENERIC 1
#endif
#endif

/* Names, without quotes inside: board 1 to 24 of a-z 0-9 -, build 1 to 16 of a-z 0-9 . - */
#ifndef PP_BOARD_NAME
#if PP_GENERIC
#define PP_BOARD_NAME "probe-generic"
#elif defined(__AVR_ATmega2560__) || defined(__AVR_ATmega1280__)
#define PP_BOARD_NAME "probe-2560"
#else
#define PP_BOARD_NAME "probe-328"
#endif
#endif
#ifndef PP_BUILD_NAME
#define PP_BUILD_NAME "1.0"
#endif

/* Number of outputs, and the longest chain on each. One pixel takes half a byte of RAM on every output: 1 output of 1,000
 * pixels and 2 of 500 take the same. */
#ifndef PP_OUTPUTS
#define PP_OUTPUTS 2
#endif
#ifndef PP_PIXELS
#if PP_GENERIC && defined(__AVR__) /* it keeps the bytes of one frame besides: 4 for each pixel */
#define PP_PIXELS (200 / PP_OUTPUTS)
#else
#define PP_PIXELS (1000 / PP_OUTPUTS)
#endif
#endif

/* Longest line accepted, in bytes without its LF (64 to 255). */
#ifndef PP_LINE
#define PP_LINE 96
#endif

/* The current ceiling of each output in mA: what its supply, fuse and wire can really feed. A host can only lower it. */
#ifndef PP_CEILING_MA
#define PP_CEILING_MA 2000
#endif

/* Current of one colour at full value, and of a dark pixel, in uA: the largest of any pixel kind that may be fitted. */
#ifndef PP_CHANNEL_UA
#define PP_CHANNEL_UA 20000
#endif
#ifndef PP_IDLE_UA
#define PP_IDLE_UA 1000
#endif

/* Features (SPEC.md, section 6): 1 built in, 0 left out. */
#ifndef PP_FEATURE_SETUP
#define PP_FEATURE_SETUP 1
#endif
#ifndef PP_FEATURE_RANGE
#define PP_FEATURE_RANGE 1
#endif
#ifndef PP_FEATURE_SILENCE
#define PP_FEATURE_SILENCE 1
#endif
#ifndef PP_FEATURE_PAINT
#define PP_FEATURE_PAINT 1
#endif
#ifndef PP_FEATURE_BUTTON
#define PP_FEATURE_BUTTON 1
#endif
#ifndef PP_FEATURE_TABLE /* the generic port has nothing for it */
#define PP_FEATURE_TABLE (!PP_GENERIC)
#endif
#ifndef PP_FEATURE_PLAY /* the generic port has nothing for it */
#define PP_FEATURE_PLAY (!PP_GENERIC)
#endif
#ifndef PP_FEATURE_PATTERN
#define PP_FEATURE_PATTERN 1
#endif
#ifndef PP_FEATURE_INPUTS /* the generic port has nothing for it */
#define PP_FEATURE_INPUTS (!PP_GENERIC)
#endif
#ifndef PP_FEATURE_COUNT /* the generic port has nothing for it */
#define PP_FEATURE_COUNT (!PP_GENERIC)
#endif
#ifndef PP_FEATURE_READBACK
#define PP_FEATURE_READBACK 1
#endif

/* Non-volatile memory for the lamp table; each of the two copies takes half of it, 12 bytes of which are not the image. */
#ifndef PP_STORE_BYTES
#define PP_STORE_BYTES 1024
#endif

/* The game's lamps: the highest lamp number and the number of groups (two bytes of RAM each), and the pixels of three
 * colours that the game can light on each output (three bytes of RAM each, shared with the staged picture). */
#ifndef PP_LAMPS
#define PP_LAMPS 64
#endif
#ifndef PP_GROUPS
#define PP_GROUPS 16
#endif
#ifndef PP_PLAY_PIXELS
#define PP_PLAY_PIXELS (168 / PP_OUTPUTS < PP_PIXELS ? 168 / PP_OUTPUTS : PP_PIXELS)
#endif

/* 1: pp_lamp_colour() is there; one more byte of RAM for each lamp and group. */
#ifndef PP_PLAY_TINT
#define PP_PLAY_TINT 0
#endif

/* Lamp inputs, numbered from 1, and the lamp that each of them switches; -1 for none. */
#ifndef PP_INPUTS
#define PP_INPUTS 8
#endif
#ifndef PP_INPUT_LAMP
#define PP_INPUT_LAMP(input) (input)
#endif

/* ---- Only the generic port reads what follows ---- */

/* Pin of the step button, its other side to ground; -1 for none. */
#ifndef PP_GENERIC_BUTTON_PIN
#define PP_GENERIC_BUTTON_PIN 2
#endif
#ifndef PP_GENERIC_BAUD
#define PP_GENERIC_BAUD 115200UL
#endif

/* ---- Only the AVR ports read what follows ---- */

/* Line speed: 115200 (2.1 % fast at 16 MHz), or 250000 (exact). */
#ifndef PP_AVR_BAUD
#define PP_AVR_BAUD 115200UL
#endif

/* The I/O port that carries every output (a letter), and the bit of output 0; output 1 is the next bit, and so on. */
#ifndef PP_AVR_DATA_PORT
#define PP_AVR_DATA_PORT B
#endif
#ifndef PP_AVR_DATA_BIT
#define PP_AVR_DATA_BIT 0
#endif

/* The step button, between this pin and ground. */
#ifndef PP_AVR_BUTTON_PORT
#define PP_AVR_BUTTON_PORT D
#endif
#ifndef PP_AVR_BUTTON_BIT /* pin 2 of an ATmega328P board, 19 of an ATmega2560 board */
#define PP_AVR_BUTTON_BIT 2
#endif

/* Lamp inputs, one pin each: PIN(port letter, bit) eight times a line, the lowest number first. The pins have pull-ups;
 * active low: a game's lamp that is on pulls its pin to ground (an optocoupler does). */
#ifndef PP_AVR_INPUTS_1_TO_8
#if defined(__AVR_ATmega2560__) || defined(__AVR_ATmega1280__)
#define PP_AVR_INPUTS_1_TO_8(PIN) PIN(A, 0) PIN(A, 1) PIN(A, 2) PIN(A, 3) PIN(A, 4) PIN(A, 5) PIN(A, 6) PIN(A, 7)
#else
#define PP_AVR_INPUTS_1_TO_8(PIN) PIN(C, 0) PIN(C, 1) PIN(C, 2) PIN(C, 3) PIN(C, 4) PIN(C, 5) PIN(D, 6) PIN(D, 7)
#endif
#endif
#ifndef PP_AVR_INPUTS_ACTIVE_LOW
#define PP_AVR_INPUTS_ACTIVE_LOW 1
#endif

/* 1: the inputs come through a chain of 74HC165-like shift registers instead, eight inputs each; set PP_INPUTS, and PP_LAMPS if
 * it is above 64. Three pins of one port: load (low: all registers take their inputs) and clock (rising: shift) go to every
 * register; data comes from the last output of the nearest one, into whose serial input the next one's last output goes. Its
 * inputs A to H are lamps 1 to 8, the next one's 9 to 16. */
#ifndef PP_AVR_SHIFT
#define PP_AVR_SHIFT 0
#endif
#ifndef PP_AVR_SHIFT_PORT
#if defined(__AVR_ATmega2560__) || defined(__AVR_ATmega1280__)
#define PP_AVR_SHIFT_PORT A
#else
#define PP_AVR_SHIFT_PORT C
#endif
#endif
#ifndef PP_AVR_SHIFT_LOAD_BIT
#define PP_AVR_SHIFT_LOAD_BIT 0
#endif
#ifndef PP_AVR_SHIFT_CLOCK_BIT
#define PP_AVR_SHIFT_CLOCK_BIT 1
#endif
#ifndef PP_AVR_SHIFT_DATA_BIT
#define PP_AVR_SHIFT_DATA_BIT 2
#endif

/* 1: the inputs are a strobed matrix of 8 rows and 8 columns instead; set PP_INPUTS to 64, PP_LAMPS to 64 and the button to
 * 0, or choose other pins: sixteen are needed. Row and column pins as above, number 1 first. */
#ifndef PP_AVR_MATRIX
#define PP_AVR_MATRIX 0
#endif
#ifndef PP_AVR_MATRIX_ROWS
#define PP_AVR_MATRIX_ROWS(PIN) PIN(C, 0) PIN(C, 1) PIN(C, 2) PIN(C, 3) PIN(C, 4) PIN(C, 5) PIN(D, 6) PIN(D, 7)
#endif
#ifndef PP_AVR_MATRIX_COLUMNS
#define PP_AVR_MATRIX_COLUMNS(PIN) PIN(B, 1) PIN(B, 2) PIN(B, 3) PIN(B, 4) PIN(B, 5) PIN(D, 2) PIN(D, 3) PIN(D, 5)
#endif

/* The return wire of SPEC.md, section 15, comes to the chip's counter input T0: port D, bit 4 (bit 7 on an ATmega2560). */

/* 1: a watchdog restarts the board, and so darkens it, when the firmware stands still for 2 s. */
#ifndef PP_AVR_WATCHDOG
#define PP_AVR_WATCHDOG 1
#endif

/* Where constant texts live: an AVR would otherwise copy them into its RAM. */
#if defined(__AVR__)
#include "src/avr/pp_flash.h"
#endif

#endif
