/* A board as a program, in one of two ways. SPDX-License-Identifier: MIT
 *
 *   board_host          a test's board: commands on standard input, one answer line each, time stands still between them
 *   board_host --raw    a board on standard input and output in real time, to be put behind a pseudo-terminal or socket
 *
 * Commands (HEX: two digits a byte):
 *   start CAUSE         restart; CAUSE is power, external, brownout, watchdog or unknown
 *   in HEX              these bytes come over the line
 *   lost                bytes are lost here
 *   wait MS             time passes
 *   button 0|1          the contact opens or closes
 *   input N 0|1         lamp input N, from 1, goes off or on
 *   unseen GROUPS       groups of eight inputs that cannot be seen now, one bit each (a matrix between its strobes)
 *   lamp N LEVEL        the game's program wants a lamp at a level
 *   group N LEVEL       the same for a group
 *   tint N COLOUR       the game's program gives a lamp a colour of the table, or -1
 *   pixel LAMP NTH      asks the game's interface for a pixel of a lamp: answers `pixel OUTPUT PIXEL` or `pixel none`
 *   chain PIXELS        a return wire from a chain of so many pixels; 0 for none
 *   cut WRITES TORN     the power goes with the so-manieth byte written to the non-volatile memory; bits of TORN stay set in it
 *   writes              asks for the number of bytes written to it: answers `writes N`
 *   blank               the non-volatile memory is as delivered; `start` belongs after it
 *   frame OUTPUT        asks for the last frame
 * Answers: `sent HEX` what the board has sent since the last such answer (to all commands that ask nothing);
 *   `frame PIXELS FRAMES HEX` pixels of the last frame, number of frames so far, wire bytes;
 *   `error TEXT` the command was not understood.
 */
#define _POSIX_C_SOURCE 200809L

#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "pp_host.h"

static pp_host host;

/* Value of a hexadecimal digit, or -1. */
static int hex_digit(int c)
{
    if (c >= '0' && c <= '9')
        return c - '0';
    if (c >= 'a' && c <= 'f')
        return c - 'a' + 10;
    if (c >= 'A' && c <= 'F')
        return c - 'A' + 10;
    return -1;
}

/* Cause of a restart by its name, or -1. */
static int cause_of(const char *name)
{
    static const char *const names[] = {"power", "external", "brownout", "watchdog", "unknown"};
    for (int i = 0; i < 5; i++)
        if (strcmp(name, names[i]) == 0)
            return i;
    return -1;
}

/* Answers with what the board has sent. */
static void answer_sent(void)
{
    fputs("sent ", stdout);
    for (size_t i = 0; i < host.out_length; i++)
        printf("%02x", host.out[i]);
    putchar('\n');
    host.out_length = 0;
}

/* Feeds hexadecimal bytes; false when they are not that. */
static bool feed_hex(const char *hex)
{
    for (; *hex; hex += 2) {
        int high = hex_digit(hex[0]), low = high < 0 ? -1 : hex_digit(hex[1]);
        if (low < 0 || !pp_host_feed(&host, (int16_t)(high << 4 | low)))
            return false;
    }
    return true;
}

/* The first number of an argument. */
static unsigned long first_number(const char *argument)
{
    return strtoul(argument, NULL, 10);
}

/* The second number of an argument. */
static unsigned long second_number(const char *argument)
{
    const char *space = strchr(argument, ' ');
    return space ? strtoul(space, NULL, 10) : 0;
}

/* Carries out a command that asks nothing and belongs to a feature; false when it is none. */
static bool feature_command(const char *line, const char *argument)
{
    unsigned long first = first_number(argument), second = second_number(argument);
    if (strcmp(line, "input") == 0 && first >= 1 && first <= PP_INPUTS) {
        uint8_t mask = (uint8_t)(1u << ((first - 1) & 7));
        uint8_t *byte = &host.inputs[(first - 1) >> 3];
        *byte = second ? (uint8_t)(*byte | mask) : (uint8_t)(*byte & ~mask);
    } else if (strcmp(line, "unseen") == 0) {
        host.unseen_inputs = (uint8_t)first;
#if PP_FEATURE_PLAY
    } else if (strcmp(line, "lamp") == 0) {
        pp_lamp_level(&host.board, (uint16_t)first, (uint8_t)second);
    } else if (strcmp(line, "group") == 0) {
        pp_group_level(&host.board, (uint8_t)first, (uint8_t)second);
#if PP_PLAY_TINT
    } else if (strcmp(line, "tint") == 0) {
        const char *space = strchr(argument, ' ');
        pp_lamp_colour(&host.board, (uint16_t)first, (int8_t)(space ? strtol(space, NULL, 10) : -1));
#endif
#endif
    } else if (strcmp(line, "chain") == 0) {
        host.chain_pixels = (uint32_t)first;
    } else if (strcmp(line, "cut") == 0) {
        pp_host_cut(&host, (uint32_t)first, (uint8_t)second);
    } else if (strcmp(line, "blank") == 0) {
        host.store_used = false;
    } else {
        return false;
    }
    pp_host_settle(&host);
    return true;
}

/* Carries one command out. */
static void command(char *line)
{
    char *argument = strchr(line, ' ');
    if (argument)
        *argument++ = '\0';
    else
        argument = line + strlen(line);
    if (strcmp(line, "start") == 0 && cause_of(argument) >= 0) {
        pp_host_restart(&host, (uint8_t)cause_of(argument));
    } else if (strcmp(line, "in") == 0) {
        if (!feed_hex(argument)) {
            puts("error bytes in hexadecimal expected");
            return;
        }
        pp_host_settle(&host);
    } else if (strcmp(line, "lost") == 0) {
        (void)pp_host_feed(&host, PP_LOST);
        pp_host_settle(&host);
    } else if (strcmp(line, "wait") == 0) {
        pp_host_wait(&host, (uint32_t)strtoul(argument, NULL, 10));
    } else if (strcmp(line, "button") == 0) {
        host.button_closed = argument[0] == '1';
        pp_host_settle(&host);
    } else if (feature_command(line, argument)) {
        /* done */
    } else if (strcmp(line, "writes") == 0) {
        printf("writes %lu\n", (unsigned long)host.writes);
        return;
#if PP_FEATURE_PLAY
    } else if (strcmp(line, "pixel") == 0) {
        uint8_t output;
        uint16_t pixel;
        if (pp_lamp_pixel(&host.board, (uint16_t)first_number(argument), (uint16_t)second_number(argument), &output, &pixel))
            printf("pixel %u %u\n", output, pixel);
        else
            puts("pixel none");
        return;
#endif
    } else if (strcmp(line, "frame") == 0) {
        unsigned long output = strtoul(argument, NULL, 10);
        if (output >= PP_OUTPUTS) {
            puts("error no such output");
            return;
        }
        printf("frame %u %lu ", host.frame_pixels[output], (unsigned long)host.frames[output]);
        for (size_t i = 0; i < host.frame_length[output]; i++)
            printf("%02x", host.frame[output][i]);
        putchar('\n');
        return;
    } else {
        puts("error no such command");
        return;
    }
    answer_sent();
}

/* Serves a test until its end of file. */
static int serve_commands(void)
{
    char *line = NULL;
    size_t room = 0;
    ssize_t length;
    while ((length = getline(&line, &room, stdin)) > 0) {
        if (line[length - 1] == '\n')
            line[length - 1] = '\0';
        command(line);
        fflush(stdout);
    }
    free(line);
    return 0;
}

/* Milliseconds of the real clock. */
static uint32_t real_ms(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (uint32_t)((uint64_t)now.tv_sec * 1000 + (uint64_t)now.tv_nsec / 1000000);
}

/* Is a board until end of file. */
static int serve_raw(void)
{
    host.now_ms = real_ms();
    pp_host_restart(&host, PP_CAUSE_POWER);
    for (;;) {
        pp_host_settle(&host);
        for (size_t sent = 0; sent < host.out_length;) {
            ssize_t n = write(STDOUT_FILENO, host.out + sent, host.out_length - sent);
            if (n <= 0)
                return 1;
            sent += (size_t)n;
        }
        host.out_length = 0;
        struct pollfd in = {.fd = STDIN_FILENO, .events = POLLIN};
        int ready = poll(&in, 1, 5);
        host.now_ms = real_ms();
        if (ready > 0) {
            uint8_t bytes[256];
            ssize_t n = read(STDIN_FILENO, bytes, sizeof bytes);
            if (n <= 0)
                return 0;
            for (ssize_t i = 0; i < n; i++)
                (void)pp_host_feed(&host, bytes[i]);
        }
    }
}

int main(int argc, char **argv)
{
    if (argc == 2 && strcmp(argv[1], "--raw") == 0)
        return serve_raw();
    if (argc == 1)
        return serve_commands();
    fprintf(stderr, "usage: board_host [--raw]\n");
    return 2;
}
