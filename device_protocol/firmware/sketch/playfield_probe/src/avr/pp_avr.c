/* The port to an ATmega328P (or 168P/88P with fewer pixels) at 16 MHz: time, restart cause, button, idling.
 * The line is in pp_avr_uart.c, the pixels are in pp_avr_pixels.c.
 * SPDX-License-Identifier: MIT */
#include "../../board_config.h"

#if defined(__AVR__) && !PP_GENERIC

#include <avr/eeprom.h>
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>

#include "../core/pp_board.h"
#include "pp_avr.h"
#include "pp_avr_internal.h"

#define BUTTON_DDR PP_AVR_REGISTER(DDR, PP_AVR_BUTTON_PORT)
#define BUTTON_PORT PP_AVR_REGISTER(PORT, PP_AVR_BUTTON_PORT)
#define BUTTON_PIN PP_AVR_REGISTER(PIN, PP_AVR_BUTTON_PORT)
#define BUTTON_MASK (1u << PP_AVR_BUTTON_BIT)

static pp_board board;

/* MCUSR as it was after reset, and register r2, in which some bootloaders hand it on after clearing it. */
static uint8_t reset_flags __attribute__((section(".noinit")));
static uint8_t bootloader_flags __attribute__((section(".noinit")));

/* Saves r2 before the C start-up code can use it. */
__attribute__((naked, used, section(".init0"))) static void save_bootloader_flags(void)
{
    __asm__ volatile("sts %0, r2" : : "i"(&bootloader_flags));
}

/* Saves the restart cause and stops a watchdog that a restart has left running at its shortest time. */
__attribute__((naked, used, section(".init3"))) static void save_reset_flags(void)
{
    reset_flags = MCUSR;
    MCUSR = 0;
    wdt_disable();
}

/* Names the cause of the restart; a power-up also sets the brown-out flag, so power is looked at first. */
static uint8_t restart_cause(void)
{
    uint8_t flags = reset_flags & 0x0F;
    if (!flags && !(bootloader_flags & 0xF0))
        flags = bootloader_flags;
    if (flags & (1 << PORF))
        return PP_CAUSE_POWER;
    if (flags & (1 << BORF))
        return PP_CAUSE_BROWNOUT;
    if (flags & (1 << WDRF))
        return PP_CAUSE_WATCHDOG;
    if (flags & (1 << EXTRF))
        return PP_CAUSE_EXTERNAL;
    return PP_CAUSE_UNKNOWN;
}

/* Milliseconds from timer 1, which counts 4 us steps without any interrupt; to be called every 262 ms or sooner. */
uint32_t pp_avr_now_ms(void *self)
{
    static uint32_t ms;
    static uint16_t last_ticks;
    static uint8_t rest;
    (void)self;
    uint16_t ticks = TCNT1, passed = ticks - last_ticks;
    last_ticks = ticks;
    uint16_t whole = passed / PP_AVR_TICKS_PER_MS;
    uint8_t part = (uint8_t)(passed % PP_AVR_TICKS_PER_MS);
    if (part >= PP_AVR_TICKS_PER_MS - rest) {
        whole++;
        rest = (uint8_t)(part - (PP_AVR_TICKS_PER_MS - rest));
    } else {
        rest = (uint8_t)(rest + part);
    }
    ms += whole;
    return ms;
}

#if PP_FEATURE_BUTTON
/* The button pulls its pin to ground. */
static bool button_closed(void *self)
{
    (void)self;
    return !(BUTTON_PIN & BUTTON_MASK);
}
#endif

/* How long the board sleeps at most: a strobed matrix is looked at more often than its columns change. */
#define IDLE_TICKS (PP_AVR_TICKS_PER_MS / (PP_FEATURE_INPUTS && PP_AVR_MATRIX ? 2 : 1))

/* Sleeps until a byte comes or that time has passed. */
static void idle(void)
{
    cli();
    if (!pp_avr_uart_waiting()) {
        OCR1A = TCNT1 + IDLE_TICKS;
        TIFR1 = 1 << OCF1A;
        sleep_enable();
        sei(); /* the instruction after it runs before any interrupt: no byte can slip in between */
        sleep_cpu();
        sleep_disable();
    }
    sei();
}

/* Timer 1 only has to end a sleep. */
EMPTY_INTERRUPT(TIMER1_COMPA_vect)

#if PP_FEATURE_TABLE
#if PP_STORE_BYTES > E2END + 1
#error "PP_STORE_BYTES exceeds the chip's EEPROM"
#endif

static uint8_t store_read(void *self, uint16_t at)
{
    (void)self;
    return eeprom_read_byte((const uint8_t *)at);
}

/* Changes a byte if it differs, and waits until that is done: what follows must not overtake it. */
static void store_write(void *self, uint16_t at, uint8_t byte)
{
    (void)self;
    eeprom_update_byte((uint8_t *)at, byte);
    eeprom_busy_wait();
}
#endif

static const pp_port port = {
    .receive = pp_avr_uart_receive,
    .send = pp_avr_uart_send,
    .send_frame = pp_avr_send_frame,
    .now_ms = pp_avr_now_ms,
#if PP_FEATURE_BUTTON
    .button_closed = button_closed,
#endif
#if PP_FEATURE_TABLE
    .store_read = store_read,
    .store_write = store_write,
#endif
#if PP_FEATURE_INPUTS
    .read_inputs = pp_avr_read_inputs,
#endif
#if PP_FEATURE_COUNT
    .count_edges = pp_avr_count_edges,
#endif
};

/* Sets the chip up and starts the board. */
void pp_avr_setup(void)
{
    cli();
    pp_avr_pixels_setup();
#if PP_FEATURE_BUTTON
    BUTTON_DDR &= (uint8_t)~BUTTON_MASK;
    BUTTON_PORT |= BUTTON_MASK; /* pull-up */
#endif
#if PP_FEATURE_INPUTS
    pp_avr_inputs_setup();
#endif
    TIMSK0 = 0; /* a sketch's own clock, not needed here, would only wake the board */
    TCCR1A = 0;
    TCCR1B = (1 << CS11) | (1 << CS10); /* 16 MHz / 64 */
    TIMSK1 = 1 << OCIE1A;
    set_sleep_mode(SLEEP_MODE_IDLE);
    pp_avr_uart_setup();
    sei();
    pp_start(&board, &port, 0, restart_cause());
#if PP_AVR_WATCHDOG
    wdt_enable(WDTO_2S);
#endif
}

/* One step of the board. */
void pp_avr_step(void)
{
#if PP_AVR_WATCHDOG
    wdt_reset();
#endif
    if (!pp_poll(&board))
        idle();
}

#endif
