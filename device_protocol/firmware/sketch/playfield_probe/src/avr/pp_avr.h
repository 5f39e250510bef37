/* The core on an ATmega328P, 168P, 2560 or 1280 at 16 MHz: call pp_avr_setup() once, pp_avr_step() for ever. SPDX-License-Identifier: MIT */
#ifndef PP_AVR_H
#define PP_AVR_H

#include <avr/io.h>

#if defined(__AVR_ATmega328P__) || defined(__AVR_ATmega328__) || defined(__AVR_ATmega168P__) || defined(__AVR_ATmega168__)
#define PP_AVR_RECEIVED USART_RX_vect
#define PP_AVR_T0_DDR DDRD
#define PP_AVR_T0_PORT PORTD
#define PP_AVR_T0_BIT 4
#elif defined(__AVR_ATmega2560__) || defined(__AVR_ATmega1280__)
#define PP_AVR_RECEIVED USART0_RX_vect
#define PP_AVR_T0_DDR DDRD
#define PP_AVR_T0_PORT PORTD
#define PP_AVR_T0_BIT 7
#else
/* Registers of the same name lie elsewhere, and the receiver's interrupt has another vector: it would build, and be deaf. */
#error "this port is for the ATmega328P, 168P, 2560 and 1280 only: take the generic port (src/generic) for this chip"
#endif

#ifdef __cplusplus
extern "C" {
#endif

void pp_avr_setup(void);
void pp_avr_step(void);

#ifdef __cplusplus
}
#endif

#endif
