/* Sends bytes on an RP2040: state machine 0 of PIO 0 makes the pulses, no interrupt is held up.
 *
 * Registers and instructions by the RP2040 data sheet, sections 2.14, 2.19 and 3.4 to 3.7; addresses are written out, so that
 * this file needs no development kit. One cycle of the state machine is 62.5 ns: a 0 is high for 5 and low for 15 of them, a 1
 * high for 11 and low for 10, as on the AVR.
 * SPDX-License-Identifier: MIT */
#include "../../board_config.h"

#if defined(ARDUINO_ARCH_RP2040) || defined(PP_RP2040)

#include "pp_generic.h"

#ifndef PP_RP2040_PIN
#define PP_RP2040_PIN 2 /* GPIO of output 0; output 1 is the next, and so on */
#endif
#ifndef F_CPU
#define F_CPU 125000000UL
#endif

#define REGISTER(address) (*(volatile uint32_t *)(uintptr_t)(address))
#define RESETS_CLEAR REGISTER(0x4000F000u) /* the alias that clears bits of RESET */
#define RESETS_DONE REGISTER(0x4000C008u)
#define RESET_IO_BANK0 (1u << 5)
#define RESET_PADS_BANK0 (1u << 8)
#define RESET_PIO0 (1u << 10)
#define GPIO_CTRL(pin) REGISTER(0x40014004u + 8u * (pin))
#define FUNCTION_PIO0 6u
#define PIO(offset) REGISTER(0x50200000u + (offset))
#define PIO_CTRL PIO(0x000u)
#define PIO_FSTAT PIO(0x004u)
#define PIO_TXF0 PIO(0x010u)
#define PIO_INSTR(n) PIO(0x048u + 4u * (n))
#define SM0_CLKDIV PIO(0x0C8u)
#define SM0_EXECCTRL PIO(0x0CCu)
#define SM0_SHIFTCTRL PIO(0x0D0u)
#define SM0_INSTR PIO(0x0D8u)
#define SM0_PINCTRL PIO(0x0DCu)
#define TX_FULL (1u << 16)
#define TX_EMPTY (1u << 24)
#define TIMER_RAW_US REGISTER(0x40054028u)

#define CYCLES_A_SECOND 16000000u
#define LAST_BYTE_US 12u /* the byte in the state machine is out by then */

/* Side-set is the data pin, one bit: bit 12; the delay is in bits 11 to 8. */
static const uint16_t program[] = {
    0x6921, /* 0: out x, 1     side 0 [9]  ten cycles low, then the next bit */
    0x1423, /* 1: jmp !x, 3    side 1 [4]  high for five */
    0x1500, /* 2: jmp 0        side 1 [5]  a 1: for six more */
    0xA442, /* 3: nop          side 0 [4]  a 0: low for five more; then from 0 again */
};

/* The pins that the state machine drives: `pin` alone. */
static void choose_pin(uint32_t pin)
{
    SM0_PINCTRL = (1u << 29) | (1u << 26) | (pin << 10) | (pin << 5); /* one side-set pin, one set pin */
}

/* Makes every output pin drive low, and starts the state machine, which waits for bytes. */
void pp_generic_pins(void)
{
    RESETS_CLEAR = RESET_IO_BANK0 | RESET_PADS_BANK0 | RESET_PIO0;
    while ((RESETS_DONE & (RESET_IO_BANK0 | RESET_PADS_BANK0 | RESET_PIO0)) != (RESET_IO_BANK0 | RESET_PADS_BANK0 | RESET_PIO0))
        ;
    PIO_CTRL = 0;
    for (uint32_t i = 0; i < sizeof program / sizeof program[0]; i++)
        PIO_INSTR(i) = program[i];
    SM0_CLKDIV = (uint32_t)(F_CPU / (CYCLES_A_SECOND / 256u)) << 8;
    SM0_EXECCTRL = 3u << 12;                                        /* from 3 back to 0 */
    SM0_SHIFTCTRL = (1u << 30) | (8u << 25) | (1u << 17); /* both FIFOs for sending; a byte at a time, its first bit first */
    for (uint32_t output = 0; output < PP_OUTPUTS; output++) {
        choose_pin(PP_RP2040_PIN + output);
        SM0_INSTR = 0xE000; /* set pins, 0 */
        SM0_INSTR = 0xE081; /* set pindirs, 1 */
        GPIO_CTRL(PP_RP2040_PIN + output) = FUNCTION_PIO0;
    }
    SM0_INSTR = 0x0000; /* jmp 0 */
    PIO_CTRL = 1;
}

/* Interrupts go on; a stall between two bytes would only lengthen a low. */
uint32_t pp_generic_send(uint8_t output, const uint8_t *bytes, size_t size)
{
    choose_pin(PP_RP2040_PIN + output);
    while (size--) {
        while (PIO_FSTAT & TX_FULL)
            ;
        PIO_TXF0 = (uint32_t)*bytes++ << 24;
    }
    while (!(PIO_FSTAT & TX_EMPTY))
        ;
    uint32_t begun_us = TIMER_RAW_US;
    while (TIMER_RAW_US - begun_us < LAST_BYTE_US)
        ;
    return 0;
}

#endif
