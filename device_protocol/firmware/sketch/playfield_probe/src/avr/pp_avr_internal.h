/* What the AVR port's files offer to each other. SPDX-License-Identifier: MIT */
#ifndef PP_AVR_INTERNAL_H
#define PP_AVR_INTERNAL_H

#include "../core/pp_board.h"
#include "pp_avr.h"

#include "pp_avr_bits.h"

#define PP_AVR_TICKS_PER_MS 250 /* timer 1 */
#define PP_AVR_TICK_US 4

/* pp_avr_uart.c */
void pp_avr_uart_setup(void);
int16_t pp_avr_uart_receive(void *self);
void pp_avr_uart_send(void *self, uint8_t byte);
bool pp_avr_uart_waiting(void);
void pp_avr_uart_take(void);

/* pp_avr_pixels.c */
void pp_avr_pixels_setup(void);
void pp_avr_send_frame(void *self, uint8_t output, const pp_frame *frame);

#if PP_FEATURE_COUNT
uint32_t pp_avr_count_edges(void *self, uint8_t output, const pp_frame *frame);
#endif

#if PP_FEATURE_INPUTS
/* pp_avr_inputs.c */
void pp_avr_inputs_setup(void);
bool pp_avr_read_inputs(void *self, uint8_t group, uint8_t *bits);
#endif

/* pp_avr.c */
uint32_t pp_avr_now_ms(void *self);

#endif
