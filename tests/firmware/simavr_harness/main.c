/* Runs a firmware on a simulated ATmega328P at 16 MHz between a pseudo-terminal and a test.
 *
 *   simavr_harness ELF [option ...]
 *     --outputs N          pins of output 0, 1 ... from --data (default 1)
 *     --data B0            pin of output 0; the others follow on the same port
 *     --host-baud N        speed of the far end of the line (default 115200)
 *     --paused             do not run until told
 *     --early-overrun      show an overrun at once, not with the byte after the loss
 *     --reset-on-open MS   restart by the reset pin when the pseudo-terminal is opened; deaf for MS (a bootloader)
 *     --eeprom FILE        contents of the EEPROM at the start
 *
 * Once the firmware listens, one line {"pty": PATH, ...} goes to standard output. Time runs freely: as fast as it can
 * while there is work, as real time while the firmware sleeps and the line is quiet. Commands come on standard input,
 * one a line; each is answered by one line of JSON. End of file ends the program. Commands:
 *
 *   status                      counts, cycle, chip's baud, free stack
 *   pause | resume              stops and restarts free running
 *   run MS                      lets simulated time pass as fast as possible
 *   run_to CYCLE                the same up to a cycle
 *   run_sent N MS               the same until N line ends have been sent, for at most MS
 *   feed HEX                    puts bytes on the line to the chip, back to back, beside those of the pseudo-terminal
 *   overrun                     the chip loses a byte here, after those that it has received
 *   sent                        bytes sent by the chip since the last `sent`
 *   frame OUTPUT                last frame followed by a latch: wire bytes, cycles of begin and end, frames so far
 *   timing OUTPUT               least and most ns of each time since `timing_clear`
 *   timing_clear
 *   edges FILE | edges          records all edges to a file (16 bytes each, see harness.h), or stops
 *   pin D2 0|1                  drives an input pin
 *   chain OUTPUT BITS D4        a chain that keeps BITS bits of a frame and passes the rest on to an input pin; 0 for none
 *   shift C0 C1 C2 HEX          a chain of 74HC165 on these pins (load, clock, data): its inputs, the nearest register first
 *   restart CAUSE               power, external, brownout, watchdog, unknown, bootloader
 *   power_cut SEED              as restart power, and an EEPROM byte being written is left half done
 *   eeprom | eeprom OFFSET HEX  reads all, or stores
 */
#define _GNU_SOURCE

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <pty.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/inotify.h>
#include <termios.h>
#include <unistd.h>

#include <simavr/avr_ioport.h>
#include <simavr/sim_elf.h>

#include "harness.h"

#define SLICE (CYCLES_PER_MS / 2)
#define CAPTURE 1048576
#define INTERRUPT_ENTRY_CYCLES 4 /* simavr counts none */

static avr_t *avr;
static waveform waves[OUTPUTS_MAX];
static unsigned outputs = 1;
static char data_port = 'B';
static uint8_t data_bit;
static int pty_master = -1, opened_watch = -1;
static char pty_path[256];
static bool running = true, hurried; /* hurried: a command drives time, nobody waits for the real clock */
static long reset_on_open_ms = -1;
static uint8_t pins[128]; /* level of each input pin: pins[port * 8 + bit], high unless driven */
static uint8_t capture[CAPTURE];
static size_t captured;
static uint64_t lines_sent, dropped_to_pty;

static void die(const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    vfprintf(stderr, format, arguments);
    va_end(arguments);
    fputc('\n', stderr);
    exit(1);
}

/* ---- the chip ---- */

static void on_interrupt_entry(struct avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq, (void)param;
    if (value)
        avr->cycle += INTERRUPT_ENTRY_CYCLES;
}

static void on_sent(uint8_t byte)
{
    if (captured < CAPTURE)
        capture[captured++] = byte;
    lines_sent += byte == '\n';
    if (write(pty_master, &byte, 1) != 1)
        dropped_to_pty++; /* nobody reads: a serial line would lose it as well */
}

/* The firmware sleeps for so many cycles: real time passes too, unless something is on the line or a test is in a hurry. */
static void on_sleep(avr_t *sleeper, avr_cycle_count_t cycles)
{
    (void)sleeper;
    if (hurried || !usart_idle())
        return;
    struct pollfd waits[3] = {{.fd = STDIN_FILENO, .events = POLLIN},
                              {.fd = pty_master, .events = POLLIN},
                              {.fd = opened_watch, .events = POLLIN}};
    long ns = (long)(cycles * 1000 / 16);
    struct timespec span = {.tv_sec = ns / 1000000000L, .tv_nsec = ns % 1000000000L};
    (void)ppoll(waits, 3, &span, NULL);
}

/* ---- a chain of 74HC165: taken in while load is low, shifted at each rise of the clock, a high after the last ---- */

#define REGISTERS_MAX 32

static struct {
    uint8_t inputs[REGISTERS_MAX], bits[REGISTERS_MAX];
    size_t count;
    bool loading, clock;
    unsigned load_pin, clock_pin, data_pin; /* as in `pins` */
} shift_chain;

/* Drives all input pins; `anew`: after a restart, when simavr has forgotten levels that it would not tell twice. */
static void apply_pins(bool anew)
{
    for (char port = 'B'; port <= 'D'; port++) {
        /* What drives a pin from outside is stronger than the chip's pull-up, which simavr has to be told. */
        avr_ioport_external_t outside = {.name = (unsigned char)port};
        for (uint8_t bit = 0; bit < 8; bit++) {
            bool data = port == data_port && bit >= data_bit && bit < data_bit + outputs;
            bool line = port == 'D' && bit < 2;
            unsigned number = (unsigned)(port - 'A') * 8 + bit;
            bool shift = shift_chain.count && (number == shift_chain.load_pin || number == shift_chain.clock_pin);
            if (data || line || shift)
                continue;
            avr_irq_t *irq = avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ(port), bit);
            if (anew)
                avr_raise_irq(irq, !pins[(port - 'A') * 8 + bit]);
            avr_raise_irq(irq, pins[(port - 'A') * 8 + bit]);
            outside.mask |= (unsigned)!pins[(port - 'A') * 8 + bit] << bit; /* low; high is left to the pull-up */
        }
        avr_ioctl(avr, AVR_IOCTL_IOPORT_SET_EXTERNAL(port), &outside);
    }
}

static void restarted(void)
{
    apply_pins(true);
    for (unsigned i = 0; i < outputs; i++)
        waveform_reset(&waves[i]);
}

/* Runs the chip up to a cycle, or until it stands still; false then. */
static bool run_to(uint64_t cycle)
{
    while (avr->cycle < cycle) {
        int state = avr_run(avr);
        if (state == cpu_Done || state == cpu_Crashed)
            return false;
        if (!hurried && !usart_idle())
            continue;
        if (!hurried && state == cpu_Sleeping)
            break; /* look at the outside */
    }
    return true;
}

/* ---- commands ---- */

static int hex_digit(int c)
{
    return c >= '0' && c <= '9' ? c - '0' : c >= 'a' && c <= 'f' ? c - 'a' + 10 : c >= 'A' && c <= 'F' ? c - 'A' + 10 : -1;
}

static size_t parse_hex(const char *text, uint8_t *bytes, size_t room)
{
    size_t n = 0;
    for (; n < room && hex_digit(text[0]) >= 0 && hex_digit(text[1]) >= 0; text += 2)
        bytes[n++] = (uint8_t)(hex_digit(text[0]) << 4 | hex_digit(text[1]));
    return n;
}

static void print_hex(const uint8_t *bytes, size_t count)
{
    for (size_t i = 0; i < count; i++)
        printf("%02x", bytes[i]);
}

static void print_range(const char *name, range_ns range, const char *end)
{
    if (range.min > range.max)
        printf("\"%s\": null%s", name, end);
    else
        printf("\"%s\": [%.1f, %.1f]%s", name, range.min, range.max, end);
}

static void print_status(void)
{
    printf("{\"pty\": \"%s\", \"cycle\": %llu, \"state\": %d, \"chip_baud\": %.3f, \"fed\": %llu, \"received\": %llu, "
           "\"overruns\": %llu, \"sent\": %llu, \"lines\": %llu, \"stack_free\": %u, \"eeprom_writes\": %llu, "
           "\"line_taken\": %llu, \"idle\": %s}\n",
           pty_path, (unsigned long long)avr->cycle, avr->state, usart_chip_baud(avr), (unsigned long long)usart.fed,
           (unsigned long long)usart.received, (unsigned long long)usart.overruns, (unsigned long long)usart.sent,
           (unsigned long long)lines_sent, memory_stack_free(avr), (unsigned long long)eeprom_writes,
           (unsigned long long)usart.line_taken, usart_idle() ? "true" : "false");
}

static void fail(const char *text)
{
    printf("{\"error\": \"%s\"}\n", text);
}

static void done(void)
{
    printf("{\"cycle\": %llu}\n", (unsigned long long)avr->cycle);
}

static waveform *output_named(const char *argument)
{
    unsigned long output = strtoul(argument, NULL, 10);
    if (output >= outputs)
        return NULL;
    waveform_settle(&waves[output]);
    return &waves[output];
}

static void hurry_to(uint64_t cycle)
{
    hurried = true;
    bool ok = run_to(cycle);
    hurried = false;
    if (ok)
        done();
    else
        fail("the chip stands still: crashed, or asleep with interrupts off");
}

static void run_sent(unsigned long lines, double ms)
{
    uint64_t until = avr->cycle + (uint64_t)(ms * (double)CYCLES_PER_MS), goal = lines_sent + lines;
    bool ok = true;
    hurried = true;
    while (ok && lines_sent < goal && avr->cycle < until)
        ok = run_to(avr->cycle + 200);
    hurried = false;
    if (ok)
        done();
    else
        fail("the chip stands still: crashed, or asleep with interrupts off");
}

static void command_pin(char *argument)
{
    if (strlen(argument) == 4 && argument[0] >= 'B' && argument[0] <= 'D' && argument[1] >= '0' && argument[1] <= '7') {
        pins[(argument[0] - 'A') * 8 + argument[1] - '0'] = argument[3] == '1';
        apply_pins(false);
        done();
    } else {
        fail("a pin such as D2 and a level expected");
    }
}

static void command_chain(const char *argument)
{
    unsigned output, bits, bit;
    char port;
    if (sscanf(argument, "%u %u %c%u", &output, &bits, &port, &bit) != 4 || output >= outputs || port < 'B' || port > 'D'
        || bit > 7) {
        fail("an output, a number of bits and a pin such as D4 expected");
        return;
    }
    waves[output].chain_bits = bits;
    waves[output].return_irq = avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ(port), (int)bit);
    if (bits)
        avr_raise_irq(waves[output].return_irq, 0);
    done();
}

static void shift_out(void)
{
    if (shift_chain.loading)
        memcpy(shift_chain.bits, shift_chain.inputs, sizeof shift_chain.bits);
    pins[shift_chain.data_pin] = shift_chain.bits[0] >> 7;
    apply_pins(false);
}

static void on_shift_load(struct avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq, (void)param;
    shift_chain.loading = !value;
    shift_out();
}

static void on_shift_clock(struct avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq, (void)param;
    bool rise = value && !shift_chain.clock;
    shift_chain.clock = value;
    if (!rise || shift_chain.loading)
        return;
    for (size_t i = 0; i < shift_chain.count; i++) {
        uint8_t in = i + 1 < shift_chain.count ? shift_chain.bits[i + 1] >> 7 : 1;
        shift_chain.bits[i] = (uint8_t)(shift_chain.bits[i] << 1 | in);
    }
    shift_out();
}

/* "C0" as its place in `pins`; 0 for no pin. */
static unsigned pin_named(const char *name)
{
    bool good = name[0] >= 'B' && name[0] <= 'D' && name[1] >= '0' && name[1] <= '7';
    return good ? (unsigned)(name[0] - 'A') * 8 + (unsigned)(name[1] - '0') : 0;
}

static avr_irq_t *irq_of(unsigned pin)
{
    return avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('A' + pin / 8), (int)(pin % 8));
}

static void command_shift(const char *argument)
{
    if (strlen(argument) < 11 || !pin_named(argument) || !pin_named(argument + 3) || !pin_named(argument + 6)) {
        fail("three pins such as C0 and bytes expected");
        return;
    }
    if (!shift_chain.count) {
        shift_chain.load_pin = pin_named(argument);
        shift_chain.clock_pin = pin_named(argument + 3);
        shift_chain.data_pin = pin_named(argument + 6);
        avr_irq_register_notify(irq_of(shift_chain.load_pin), on_shift_load, NULL);
        avr_irq_register_notify(irq_of(shift_chain.clock_pin), on_shift_clock, NULL);
    }
    shift_chain.count = parse_hex(argument + 9, shift_chain.inputs, sizeof shift_chain.inputs);
    done();
}

static void command_eeprom(char *argument)
{
    static uint8_t bytes[4096];
    if (!*argument) {
        size_t size = (size_t)avr->e2end + 1;
        (void)memory_eeprom(avr, false, bytes, 0, size);
        printf("{\"eeprom\": \"");
        print_hex(bytes, size);
        puts("\"}");
        return;
    }
    char *hex;
    unsigned long offset = strtoul(argument, &hex, 10);
    size_t size = *hex == ' ' ? parse_hex(hex + 1, bytes, sizeof bytes) : 0;
    if (size && memory_eeprom(avr, true, bytes, offset, size))
        done();
    else
        fail("an offset and bytes within the EEPROM expected");
}

static void command_frame(const char *argument)
{
    waveform *w = output_named(argument);
    if (!w) {
        fail("no such output");
        return;
    }
    printf("{\"frames\": %llu, \"begin\": %llu, \"end\": %llu, \"spare_bits\": %u, \"bytes\": \"",
           (unsigned long long)w->frames, (unsigned long long)w->last_start, (unsigned long long)w->last_end,
           w->last_spare_bits);
    print_hex(w->last, w->last_length);
    puts("\"}");
}

static void command_timing(const char *argument)
{
    waveform *w = output_named(argument);
    if (!w) {
        fail("no such output");
        return;
    }
    putchar('{');
    print_range("t0h", w->t0h, ", ");
    print_range("t1h", w->t1h, ", ");
    print_range("t0l", w->t0l, ", ");
    print_range("t1l", w->t1l, ", ");
    print_range("gap", w->gap, ", ");
    print_range("latch", w->latch, "}\n");
}

static void command(char *line)
{
    char *argument = strchr(line, ' ');
    if (argument)
        *argument++ = '\0';
    else
        argument = line + strlen(line);
    static uint8_t bytes[32768];
    if (strcmp(line, "status") == 0) {
        print_status();
    } else if (strcmp(line, "pause") == 0 || strcmp(line, "resume") == 0) {
        running = line[0] == 'r';
        done();
    } else if (strcmp(line, "run") == 0) {
        hurry_to(avr->cycle + (uint64_t)(strtod(argument, NULL) * (double)CYCLES_PER_MS));
    } else if (strcmp(line, "run_to") == 0) {
        hurry_to(strtoull(argument, NULL, 10));
    } else if (strcmp(line, "run_sent") == 0) {
        char *ms;
        unsigned long lines = strtoul(argument, &ms, 10);
        run_sent(lines, strtod(ms, NULL));
    } else if (strcmp(line, "feed") == 0) {
        if (usart_feed(avr, bytes, parse_hex(argument, bytes, sizeof bytes)))
            done();
        else
            fail("too many bytes wait on the line");
    } else if (strcmp(line, "overrun") == 0) {
        usart_lose();
        done();
    } else if (strcmp(line, "sent") == 0) {
        printf("{\"bytes\": \"");
        print_hex(capture, captured);
        puts("\"}");
        captured = 0;
    } else if (strcmp(line, "frame") == 0) {
        command_frame(argument);
    } else if (strcmp(line, "timing") == 0) {
        command_timing(argument);
    } else if (strcmp(line, "timing_clear") == 0) {
        for (unsigned i = 0; i < outputs; i++)
            waveform_clear_statistics(&waves[i]);
        done();
    } else if (strcmp(line, "edges") == 0) {
        if (waveform_record(*argument ? argument : NULL))
            done();
        else
            fail("cannot write that file");
    } else if (strcmp(line, "pin") == 0) {
        command_pin(argument);
    } else if (strcmp(line, "chain") == 0) {
        command_chain(argument);
    } else if (strcmp(line, "shift") == 0) {
        command_shift(argument);
    } else if (strcmp(line, "restart") == 0) {
        if (memory_restart(avr, argument)) {
            restarted();
            done();
        } else {
            fail("no such cause");
        }
    } else if (strcmp(line, "power_cut") == 0) {
        memory_power_cut(avr, (uint32_t)strtoul(argument, NULL, 10));
        restarted();
        done();
    } else if (strcmp(line, "eeprom") == 0) {
        command_eeprom(argument);
    } else {
        fail("no such command");
    }
}

/* Takes what has come on standard input; false at its end. */
static bool take_commands(void)
{
    static char text[65536 + 64];
    static size_t length;
    ssize_t n = read(STDIN_FILENO, text + length, sizeof text - 1 - length);
    if (n <= 0)
        return n < 0 && (errno == EAGAIN || errno == EINTR);
    length += (size_t)n;
    char *start = text, *end;
    while ((end = memchr(start, '\n', length - (size_t)(start - text)))) {
        *end = '\0';
        command(start);
        fflush(stdout);
        start = end + 1;
    }
    length -= (size_t)(start - text);
    memmove(text, start, length);
    if (length == sizeof text - 1)
        die("a command is too long");
    return true;
}

/* ---- the pseudo-terminal ---- */

static void open_pty(void)
{
    int slave;
    struct termios raw;
    if (openpty(&pty_master, &slave, pty_path, NULL, NULL) != 0)
        die("no pseudo-terminal: %s", strerror(errno));
    /* The other end stays open here, so that a client may come and go. */
    tcgetattr(slave, &raw);
    cfmakeraw(&raw);
    tcsetattr(slave, TCSANOW, &raw);
    fcntl(pty_master, F_SETFL, O_NONBLOCK);
    if (reset_on_open_ms >= 0) {
        opened_watch = inotify_init1(IN_NONBLOCK);
        if (opened_watch < 0 || inotify_add_watch(opened_watch, pty_path, IN_OPEN) < 0)
            die("cannot watch %s: %s", pty_path, strerror(errno));
    }
}

/* A client opened the port: the reset pin is pulled, then a bootloader listens to other things for a while. */
static void reset_by_opening(void)
{
    char events[4096];
    while (read(opened_watch, events, sizeof events) > 0)
        ;
    usleep((useconds_t)(reset_on_open_ms * 1000));
    uint8_t unheard[4096];
    while (read(pty_master, unheard, sizeof unheard) > 0)
        ;
    (void)memory_restart(avr, "external");
    restarted();
}

static void take_from_pty(void)
{
    uint8_t bytes[1024];
    size_t room = usart_queue_room();
    ssize_t n = read(pty_master, bytes, room < sizeof bytes ? room : sizeof bytes);
    if (n > 0)
        (void)usart_feed(avr, bytes, (size_t)n);
}

/* ---- start ---- */

static uint16_t variables_end(const elf_firmware_t *firmware)
{
    for (uint32_t i = 0; i < firmware->symbolcount; i++)
        if (strcmp(firmware->symbol[i]->symbol, "_end") == 0)
            return (uint16_t)(firmware->symbol[i]->addr & 0xFFFF);
    return (uint16_t)(0x100 + firmware->datasize + firmware->bsssize);
}

static void load_eeprom(const char *path)
{
    static uint8_t bytes[1024];
    FILE *file = fopen(path, "rb");
    if (!file)
        die("%s: %s", path, strerror(errno));
    size_t size = fread(bytes, 1, sizeof bytes, file);
    fclose(file);
    (void)memory_eeprom(avr, true, bytes, 0, size);
}

static void quiet_logger(avr_t *who, const int level, const char *format, va_list arguments)
{
    (void)who;
    if (level <= LOG_ERROR && level != LOG_OUTPUT)
        vfprintf(stderr, format, arguments);
}

int main(int argc, char **argv)
{
    const char *eeprom = NULL, *chip = "atmega328p";
    if (argc < 2)
        die("usage: simavr_harness ELF [options], see the head of main.c");
    for (int i = 2; i < argc; i++) {
        const char *value = i + 1 < argc ? argv[i + 1] : "";
        if (strcmp(argv[i], "--paused") == 0) {
            running = false;
            continue;
        }
        if (strcmp(argv[i], "--early-overrun") == 0) {
            usart.early_overrun = true;
            continue;
        }
        i++;
        if (strcmp(argv[i - 1], "--outputs") == 0)
            outputs = (unsigned)strtoul(value, NULL, 10);
        else if (strcmp(argv[i - 1], "--data") == 0 && strlen(value) == 2)
            data_port = value[0], data_bit = (uint8_t)(value[1] - '0');
        else if (strcmp(argv[i - 1], "--host-baud") == 0)
            usart.host_baud = strtod(value, NULL);
        else if (strcmp(argv[i - 1], "--reset-on-open") == 0)
            reset_on_open_ms = strtol(value, NULL, 10);
        else if (strcmp(argv[i - 1], "--chip") == 0)
            chip = value;
        else if (strcmp(argv[i - 1], "--eeprom") == 0)
            eeprom = value;
        else
            die("option %s not understood", argv[i - 1]);
    }
    if (outputs < 1 || outputs + data_bit > OUTPUTS_MAX || usart.host_baud < 1)
        die("outputs, data pin or baud rate out of range");

    avr_global_logger_set(quiet_logger);
    elf_firmware_t firmware = {0};
    if (elf_read_firmware(argv[1], &firmware) != 0)
        die("%s is no firmware", argv[1]);
    avr = avr_make_mcu_by_name(chip);
    if (!avr)
        die("simavr does not know the %s", chip);
    avr_init(avr);
    firmware.frequency = 16000000;
    avr_load_firmware(avr, &firmware);
    avr->run_cycle_limit = 64;
    avr->sleep = on_sleep;
    usart_on_sent = on_sent;
    usart_attach(avr);
    memory_attach(avr, variables_end(&firmware));
    if (eeprom)
        load_eeprom(eeprom);
    avr_irq_register_notify(avr_get_interrupt_irq(avr, AVR_INT_ANY) + AVR_INT_IRQ_RUNNING, on_interrupt_entry, NULL);
    memset(pins, 1, sizeof pins);
    for (unsigned i = 0; i < outputs; i++)
        waveform_attach(&waves[i], avr, data_port, (uint8_t)(data_bit + i));
    open_pty();
    (void)memory_restart(avr, "power");
    restarted();

    hurried = true;
    while (!usart_receiver_on(avr) && avr->cycle < 1000 * CYCLES_PER_MS)
        if (!run_to(avr->cycle + 100))
            break;
    hurried = false;
    if (!usart_receiver_on(avr))
        die("the firmware does not open its line");
    print_status();
    fflush(stdout);

    for (;;) {
        struct pollfd waits[3] = {{.fd = STDIN_FILENO, .events = POLLIN},
                                  {.fd = running ? pty_master : -1, .events = POLLIN},
                                  {.fd = opened_watch, .events = POLLIN}};
        (void)poll(waits, 3, running ? 0 : -1);
        if (waits[0].revents && !take_commands())
            return 0;
        if (waits[2].revents)
            reset_by_opening();
        if (waits[1].revents & POLLIN)
            take_from_pty();
        if (running && !run_to(avr->cycle + SLICE))
            die("the chip stands still: crashed, or asleep with interrupts off");
    }
}
