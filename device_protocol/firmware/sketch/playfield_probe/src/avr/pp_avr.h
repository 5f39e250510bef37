/* The core on an ATmega328P at 16 MHz: call pp_avr_setup() once, pp_avr_step() for ever. SPDX-License-Identifier: MIT */
#ifndef PP_AVR_H
#define PP_AVR_H

#ifdef __cplusplus
extern "C" {
#endif

void pp_avr_setup(void);
void pp_avr_step(void);

#ifdef __cplusplus
}
#endif

#endif
