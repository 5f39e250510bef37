/* The generic port: the line is `Serial`, time is `millis()`, pixels go out by pp_generic_send().
 *
 * A receiver overrun is not seen here, for Serial does not tell of it: the CRC finds the line that suffered (SPEC 3.8).
 * SPDX-License-Identifier: MIT */
#include "../../board_config.h"

#if PP_GENERIC

#include <Arduino.h>

#include "pp_generic.h"

#if PP_FEATURE_TABLE || PP_FEATURE_PLAY || PP_FEATURE_INPUTS || PP_FEATURE_COUNT
#error "the generic port has no table, play, inputs and count: set PP_FEATURE_TABLE, _PLAY, _INPUTS and _COUNT to 0"
#endif

static pp_board board;
static uint8_t wire[4UL * PP_PIXELS]; /* one frame as it goes out */
static uint32_t stood_still_us;       /* what millis() has missed */

static int16_t receive(void *)
{
    return static_cast<int16_t>(Serial.available() > 0 ? Serial.read() : PP_NOTHING);
}

static void send(void *, uint8_t byte)
{
    Serial.write(byte);
}

static uint32_t now_ms(void *)
{
    return millis() + stood_still_us / 1000;
}

static void send_frame(void *, uint8_t output, const pp_frame *frame)
{
    uint8_t *to = wire;
    for (uint16_t pixel = 0; pixel < frame->count; pixel++) {
        const uint8_t *bytes = pp_frame_pixel(frame, pixel);
        for (uint8_t i = 0; i < frame->colours; i++)
            *to++ = bytes[i];
    }
    uint32_t us = pp_generic_send(output, wire, static_cast<size_t>(to - wire));
    if (us > 1000) /* one tick that waits is made good by the core itself */
        stood_still_us += us - 1000;
    delayMicroseconds(frame->latch_us);
}

#if PP_FEATURE_BUTTON
static bool button_closed(void *)
{
    return PP_GENERIC_BUTTON_PIN >= 0 && digitalRead(PP_GENERIC_BUTTON_PIN) == LOW;
}
#endif

void pp_generic_setup(void)
{
    static pp_port port;
    port.receive = receive;
    port.send = send;
    port.send_frame = send_frame;
    port.now_ms = now_ms;
#if PP_FEATURE_BUTTON
    if (PP_GENERIC_BUTTON_PIN >= 0)
        pinMode(PP_GENERIC_BUTTON_PIN, INPUT_PULLUP);
    port.button_closed = button_closed;
#endif
    pp_generic_pins();
    Serial.begin(PP_GENERIC_BAUD);
    pp_start(&board, &port, nullptr, PP_CAUSE_UNKNOWN);
}

void pp_generic_step(void)
{
    (void)pp_poll(&board);
}

#endif
