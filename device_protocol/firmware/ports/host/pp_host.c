/* The make-believe hardware. SPDX-License-Identifier: MIT */
#include "pp_host.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Stops the program with a message: a rule of the port was broken. */
static void broken(const char *rule)
{
    fprintf(stderr, "board core broke a rule of the port: %s\n", rule);
    abort();
}

static int16_t receive(void *self)
{
    pp_host *host = self;
    if (host->in_head == host->in_tail)
        return PP_NOTHING;
    int16_t byte = host->in[host->in_head];
    host->in_head = (host->in_head + 1) % PP_HOST_IN;
    return byte;
}

static void send(void *self, uint8_t byte)
{
    pp_host *host = self;
    if (host->out_length == PP_HOST_OUT)
        broken("more bytes sent than a test can hold");
    host->out[host->out_length++] = byte;
}

/* Keeps the frame as it would go out, and holds it against the ceiling in force: no path may get round that. */
static void send_frame(void *self, uint8_t output, const pp_frame *frame)
{
    pp_host *host = self;
    if (output >= PP_OUTPUTS)
        broken("no such output");
    if (frame->count < 1 || frame->count > PP_PIXELS || frame->colours < 3 || frame->colours > 4)
        broken("a frame has 1 to PP_PIXELS pixels of 3 or 4 colours");
    if (frame->latch_us < 280)
        broken("the latch time is at least 280 us (SPEC 4.8)");
    if (!frame->numbers && (frame->first > frame->end || frame->end > frame->count))
        broken("a run lies within its chain");
    size_t length = 0;
    uint64_t sum = 0;
    for (uint16_t pixel = 0; pixel < frame->count; pixel++) {
        const uint8_t *wire = pp_frame_pixel(frame, pixel);
        for (uint8_t i = 0; i < frame->colours; i++) {
            host->frame[output][length++] = wire[i];
            sum += wire[i];
        }
    }
    uint64_t need_uA = (uint64_t)frame->count * PP_IDLE_UA + (sum * PP_CHANNEL_UA + 254) / 255;
    if (sum && need_uA > (uint64_t)host->board.chains[output].ceiling_mA * 1000)
        broken("a frame exceeds the ceiling (SPEC 4.5)");
    host->frame_length[output] = length;
    host->frame_pixels[output] = frame->count;
    host->frames[output]++;
}

static uint32_t now_ms(void *self)
{
    return ((pp_host *)self)->now_ms;
}

#if PP_FEATURE_BUTTON
static bool button_closed(void *self)
{
    return ((pp_host *)self)->button_closed;
}
#endif

static const pp_port port = {
    .receive = receive,
    .send = send,
    .send_frame = send_frame,
    .now_ms = now_ms,
#if PP_FEATURE_BUTTON
    .button_closed = button_closed,
#endif
};

void pp_host_restart(pp_host *host, uint8_t cause)
{
    host->in_head = host->in_tail = 0;
    pp_start(&host->board, &port, host, cause);
}

bool pp_host_feed(pp_host *host, int16_t byte)
{
    size_t tail = (host->in_tail + 1) % PP_HOST_IN;
    if (tail == host->in_head)
        return false;
    host->in[host->in_tail] = byte;
    host->in_tail = tail;
    return true;
}

void pp_host_settle(pp_host *host)
{
    while (pp_poll(&host->board))
        ;
}

void pp_host_wait(pp_host *host, uint32_t ms)
{
    while (ms--) {
        host->now_ms++;
        pp_host_settle(host);
    }
}
