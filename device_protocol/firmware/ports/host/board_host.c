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
 *   frame OUTPUT        asks for the last frame
 * Answers: `sent HEX` what the board has sent since the last such answer (to all but `frame`);
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
