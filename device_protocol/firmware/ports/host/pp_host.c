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
    if (host->dead)
        return;
    if (host->out_length == PP_HOST_OUT)
        broken("more bytes sent than a test can hold");
    host->out[host->out_length++] = byte;
}

/* Keeps the frame as it would go out, and holds it against the ceiling in force: no path may get round that. */
static void send_frame(void *self, uint8_t output, const pp_frame *frame)
{
    pp_host *host = self;
    if (host->dead)
        return;
    if (output >= PP_OUTPUTS)
        broken("no such output");
    if (frame->count < 1 || frame->count > PP_PIXELS || frame->colours < 3 || frame->colours > 4)
        broken("a frame has 1 to PP_PIXELS pixels of 3 or 4 colours");
    if (frame->latch_us < 280)
        broken("the latch time is at least 280 us (SPEC 4.8)");
    if (!frame->raw && !frame->numbers && (frame->first > frame->end || frame->end > frame->count))
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

#if PP_FEATURE_TABLE
static uint8_t store_read(void *self, uint16_t at)
{
    pp_host *host = self;
    if (at >= PP_STORE_BYTES)
        broken("a byte beyond the non-volatile memory was read");
    return host->store[at];
}

static void store_write(void *self, uint16_t at, uint8_t byte)
{
    pp_host *host = self;
    if (at >= PP_STORE_BYTES)
        broken("a byte beyond the non-volatile memory was written");
    if (host->dead || host->store[at] == byte)
        return;
    host->writes++;
    if (host->writes_left && --host->writes_left == 0) {
        byte |= host->torn;
        host->dead = true;
    }
    host->store[at] = byte;
}
#endif

#if PP_FEATURE_INPUTS
static bool read_inputs(void *self, uint8_t group, uint8_t *bits)
{
    pp_host *host = self;
    if (group >= sizeof host->inputs)
        broken("no such input");
    *bits = host->inputs[group];
    return !(host->unseen_inputs >> group & 1);
}
#endif

#if PP_FEATURE_COUNT
/* A chain takes the bits of its pixels and passes the rest on: one edge each. */
static uint32_t count_edges(void *self, uint8_t output, const pp_frame *frame)
{
    pp_host *host = self;
    send_frame(self, output, frame);
    if (!host->chain_pixels || frame->count <= host->chain_pixels)
        return 0;
    return (frame->count - host->chain_pixels) * 8u * frame->colours;
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
#if PP_FEATURE_TABLE
    .store_read = store_read,
    .store_write = store_write,
#endif
#if PP_FEATURE_INPUTS
    .read_inputs = read_inputs,
#endif
#if PP_FEATURE_COUNT
    .count_edges = count_edges,
#endif
};

void pp_host_restart(pp_host *host, uint8_t cause)
{
    host->in_head = host->in_tail = 0;
    host->dead = false;
    host->writes_left = 0;
    if (!host->store_used) {
        memset(host->store, 0xFF, sizeof host->store);
        host->store_used = true;
    }
    pp_start(&host->board, &port, host, cause);
}

void pp_host_cut(pp_host *host, uint32_t writes, uint8_t torn)
{
    host->writes_left = writes;
    host->torn = torn;
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
