/* Fuzzing target (libFuzzer): any bytes, lost bytes, passing time and button presses against the whole core.
 * SPDX-License-Identifier: MIT
 *
 * An input is a row of bytes for the line; 0xF0 to 0xFF stand for events instead (below). A mutator mends the CRC of
 * orders, without which nearly every input would end at the check. Held true: exactly one reply for every non-empty
 * line, every line sent well formed with a right CRC and not over 255 bytes; no frame for an order that is refused; dark once
 * no valid order has come for the silence time (SPEC 4.2); pp_host.c holds frames to the ceiling.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "pp_host.h"

#define EVENT_LOST 0xF0
#define EVENT_BUTTON 0xF1  /* pressed or released */
#define EVENT_RESTART 0xF2
#define EVENT_WAIT 0xF3    /* to 0xFE: 7 ms to the silence time and beyond */
#define EVENT_BYTE_FF 0xFF /* a byte 0xFF on the line */

static pp_host host;

size_t LLVMFuzzerMutate(uint8_t *data, size_t size, size_t max_size);

/* Stops the fuzzer with the reason. */
static void fail(const char *why)
{
    fprintf(stderr, "fuzz_board: %s; sent: %.*s\n", why, (int)host.out_length, (const char *)host.out);
    abort();
}

/* Checks every line sent; counts those that are replies. */
static unsigned replies_sent(void)
{
    unsigned replies = 0;
    size_t start = 0;
    for (size_t i = 0; i < host.out_length; i++) {
        if (host.out[i] != '\n') {
            if (host.out[i] < 0x20 || host.out[i] > 0x7E)
                fail("a byte outside SPEC 2.2 was sent");
            continue;
        }
        size_t length = i - start;
        const char *line = (const char *)host.out + start;
        if (length < 10 || length > 255 || line[length - 5] != '*')
            fail("a line of wrong shape was sent");
        uint16_t crc = 0xFFFF;
        for (size_t k = 0; k < length - 5; k++)
            crc = pp_crc(crc, (uint8_t)line[k]);
        char expected[8];
        snprintf(expected, sizeof expected, "%04X", crc);
        if (memcmp(expected, line + length - 4, 4) != 0)
            fail("a line with a wrong CRC was sent");
        if (line[0] == '<' || line[0] == '!')
            replies++;
        else if (line[0] != '~')
            fail("a line of no known kind was sent");
        start = i + 1;
    }
    if (start != host.out_length)
        fail("a line was not ended");
    return replies;
}

/* Since when the host has been silent, as seen from outside the core. */
static uint32_t valid_ms;
static bool valid_seen;

/* The kind of the last reply among the bytes sent from `start` on: '<', '!', '-' for a damaged line, 0 for none. */
static char last_reply(size_t start)
{
    char kind = 0;
    while (start < host.out_length) {
        const char *line = (const char *)host.out + start;
        if (line[0] == '<' || line[0] == '!')
            kind = line[0] == '!' && line[1] == '-' ? '-' : line[0];
        const char *end = memchr(line, '\n', host.out_length - start);
        start = end ? (size_t)(end - (const char *)host.out) + 1 : host.out_length;
    }
    return kind;
}

/* Frames sent on all outputs. */
static uint32_t frames_sent(void)
{
    uint32_t frames = 0;
    for (unsigned output = 0; output < PP_OUTPUTS; output++)
        frames += host.frames[output];
    return frames;
}

/* After the silence time every output is dark, unless its pattern holds or the game has the pixels. */
static void check_silence(void)
{
    if (!valid_seen || host.now_ms - valid_ms < host.board.silence_ms || host.board.game)
        return;
    for (unsigned output = 0; output < PP_OUTPUTS; output++) {
        const pp_pattern *pattern = &host.board.chains[output].pattern;
        if (pattern->colours && pattern->keep) /* live is 0 */
            continue;
        for (size_t i = 0; i < host.frame_length[output]; i++)
            if (host.frame[output][i])
                fail("lit although no valid order has come for the silence time");
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    unsigned expected = 0;
    bool pending = false, cr = false;
    size_t length = 0; /* of the line so far */
    uint8_t first = 0;
    valid_seen = false;
    host.now_ms = 0;
    host.out_length = 0;
    host.button_closed = false;
    host.store_used = false;
    memset(host.inputs, 0, sizeof host.inputs);
    pp_host_restart(&host, PP_CAUSE_POWER);
    for (size_t i = 0; i < size; i++) {
        uint8_t byte = data[i];
        if (byte == EVENT_LOST) {
            (void)pp_host_feed(&host, PP_LOST);
            pending = true; /* the line in which bytes were lost is answered even if nothing is left of it */
        } else if (byte == EVENT_BUTTON) {
            host.button_closed = !host.button_closed;
            host.inputs[0] ^= 0x11;
        } else if (byte == EVENT_RESTART) {
            pp_host_restart(&host, PP_CAUSE_EXTERNAL);
            pending = cr = valid_seen = false;
            length = 0;
        } else if (byte >= EVENT_WAIT && byte < EVENT_BYTE_FF) {
            pp_host_settle(&host);
            host.now_ms += 7u << (byte - EVENT_WAIT);
            pp_host_settle(&host);
            check_silence();
        } else {
            size_t sent = host.out_length;
            uint32_t frames = frames_sent();
            bool by_hand = length == 1 && first == '?';
            (void)pp_host_feed(&host, byte);
            pp_host_settle(&host);
            char reply = last_reply(sent);
            if ((reply == '!' || reply == '-') && frames_sent() != frames)
                fail("a frame for an order that was refused");
            if (reply == '!' || (reply == '<' && !by_hand)) {
                valid_ms = host.now_ms;
                valid_seen = true;
            }
            if (byte == '\n') {
                length = 0;
                expected += pending;
                pending = cr = false;
            } else if (byte == '\r' && !cr && !pending) {
                cr = true; /* empty so far: only a CR that LF does not follow makes it a line */
            } else {
                pending = true;
            }
            if (byte != '\n' && byte != '\r') {
                first = length++ ? first : byte;
            }
        }
        pp_host_settle(&host);
    }
    if (replies_sent() != expected)
        fail("not exactly one reply for every non-empty line");
    return 0;
}

/* Mutates, then mends the CRC of about three orders in four. */
size_t LLVMFuzzerCustomMutator(uint8_t *data, size_t size, size_t max_size, unsigned int seed)
{
    size = LLVMFuzzerMutate(data, size, max_size);
    size_t start = 0;
    for (size_t i = 0; i < size; i++) {
        if (data[i] != '\n')
            continue;
        if (i - start > 5 && data[start] == '>' && (seed++ & 3)) {
            uint16_t crc = 0xFFFF;
            data[i - 5] = '*';
            for (size_t k = start; k < i - 5; k++)
                crc = pp_crc(crc, data[k]);
            char digits[8];
            snprintf(digits, sizeof digits, "%04X", crc);
            memcpy(data + i - 4, digits, 4);
        }
        start = i + 1;
    }
    return size;
}
