/* USART 0 of the ATmega328P. See harness.h. */
#include "harness.h"

#include <string.h>

#include <simavr/sim_cycle_timers.h>
#include <simavr/sim_interrupts.h>

enum { UCSRA = 0xC0, UCSRB = 0xC1, UBRRL = 0xC4, UBRRH = 0xC5, UDR = 0xC6 };
enum { RXC = 7, TXC = 6, UDRE = 5, FE = 4, DOR = 3, U2X = 1 };         /* UCSR0A */
enum { RXCIE = 7, TXCIE = 6, UDRIE = 5, RXEN = 4, TXEN = 3 };          /* UCSR0B */
/* Receive vectors, counted from 0: 18 on an ATmega328P, 25 on an ATmega2560; data register empty is the next. */

#define QUEUE 65536
#define BITS_PER_BYTE 10

typedef struct frame_in {
    uint8_t byte;
    bool framing_error, overrun_before;
} frame_in;

usart_counts usart = {.host_baud = 115200};
void (*usart_on_sent)(uint8_t byte);

static uint8_t queue[QUEUE];
static size_t queue_head, queue_tail;
static bool line_busy; /* a byte is arriving */
static frame_in fifo[2], shift;
static unsigned fifo_count;
static bool shift_full, lost_pending, overrun_flag;
static bool sending, holding; /* shift register and buffer of the transmitter */
static uint8_t sending_byte, held_byte;
static uint8_t u2x;
static avr_int_vector_t *vector_rx, *vector_udre;

static uint8_t *reg(avr_t *avr, int address)
{
    return &avr->data[address];
}

double usart_chip_baud(const avr_t *avr)
{
    unsigned divisor = avr->data[UBRRL] | (avr->data[UBRRH] & 15u) << 8;
    return (double)avr->frequency / ((u2x ? 8 : 16) * (divisor + 1.0));
}

bool usart_receiver_on(const avr_t *avr)
{
    return avr->data[UCSRB] & 1 << RXEN;
}

size_t usart_queue_room(void)
{
    return QUEUE - 1 - (queue_tail + QUEUE - queue_head) % QUEUE;
}

bool usart_idle(void)
{
    return queue_head == queue_tail && !line_busy && !sending;
}

static avr_cycle_count_t host_byte_cycles(avr_t *avr)
{
    return (avr_cycle_count_t)((double)avr->frequency * BITS_PER_BYTE / usart.host_baud + 0.5);
}

/* Raises or withdraws both interrupts as the flags stand. */
static void interrupts(avr_t *avr)
{
    if (fifo_count && (*reg(avr, UCSRB) & 1 << RXCIE))
        avr_raise_interrupt(avr, vector_rx);
    else
        avr_clear_interrupt(avr, vector_rx);
    if (!holding && (*reg(avr, UCSRB) & 1 << UDRIE))
        avr_raise_interrupt(avr, vector_udre);
    else
        avr_clear_interrupt(avr, vector_udre);
}

/* ---- from the host ---- */

static avr_cycle_count_t byte_arrived(avr_t *avr, avr_cycle_count_t when, void *param);

/* A start bit comes: a byte still held in the shift register is overwritten. */
static void start_bit(avr_t *avr, avr_cycle_count_t when)
{
    line_busy = true;
    if (shift_full) {
        shift_full = false;
        usart_lose();
    }
    avr_cycle_timer_register(avr, when - avr->cycle + host_byte_cycles(avr), byte_arrived, NULL);
}

static void accept(avr_t *avr, frame_in frame)
{
    if (fifo_count < 2) {
        fifo[fifo_count++] = frame;
        interrupts(avr);
    } else {
        shift = frame;
        shift_full = true;
    }
}

static avr_cycle_count_t byte_arrived(avr_t *avr, avr_cycle_count_t when, void *param)
{
    (void)param;
    line_busy = false;
    if (queue_head == queue_tail)
        return 0;
    frame_in frame = {.byte = queue[queue_head]};
    queue_head = (queue_head + 1) % QUEUE;
    if (usart_receiver_on(avr)) {
        /* Asynchronous operational range in double speed mode, 8 data bits: 96.00 to 103.90 % (ATmega328P data sheet). */
        double ratio = usart.host_baud / usart_chip_baud(avr);
        if (ratio < 0.96 || ratio > 1.039) {
            frame.byte ^= 0xA8;
            frame.framing_error = true;
        }
        if (lost_pending && !usart.early_overrun)
            frame.overrun_before = true;
        lost_pending = false;
        usart.received++;
        accept(avr, frame);
    }
    if (queue_head != queue_tail)
        start_bit(avr, when);
    return 0;
}

bool usart_feed(avr_t *avr, const uint8_t *bytes, size_t count)
{
    if (count > usart_queue_room())
        return false;
    for (size_t i = 0; i < count; i++) {
        queue[queue_tail] = bytes[i];
        queue_tail = (queue_tail + 1) % QUEUE;
    }
    usart.fed += count;
    if (!line_busy && queue_head != queue_tail)
        start_bit(avr, avr->cycle);
    return true;
}

void usart_lose(void)
{
    lost_pending = true;
    usart.overruns++;
    if (usart.early_overrun)
        overrun_flag = true;
}

/* ---- to the host ---- */

static avr_cycle_count_t byte_sent(avr_t *avr, avr_cycle_count_t when, void *param)
{
    (void)when, (void)param;
    usart.sent++;
    if (usart_on_sent)
        usart_on_sent(sending_byte);
    sending = holding;
    if (holding) {
        holding = false;
        sending_byte = held_byte;
        avr_cycle_timer_register(
            avr, (avr_cycle_count_t)((double)avr->frequency * BITS_PER_BYTE / usart_chip_baud(avr) + 0.5), byte_sent, NULL);
    }
    interrupts(avr);
    return 0;
}

/* ---- registers ---- */

static uint8_t read_status(avr_t *avr, avr_io_addr_t address, void *param)
{
    (void)param;
    uint8_t value = u2x ? 1 << U2X : 0;
    if (fifo_count) {
        value |= 1 << RXC;
        if (fifo[0].framing_error)
            value |= 1 << FE;
        if (fifo[0].overrun_before)
            value |= 1 << DOR;
    }
    if (overrun_flag)
        value |= 1 << DOR;
    if (!holding)
        value |= 1 << UDRE;
    if (!holding && !sending)
        value |= 1 << TXC;
    avr->data[address] = value;
    return value;
}

static void write_status(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    (void)param;
    u2x = value & 1 << U2X;
    avr->data[address] = value;
}

static void write_control(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    (void)param;
    avr->data[address] = value;
    if (!(value & 1 << RXEN)) {
        fifo_count = 0;
        shift_full = lost_pending = overrun_flag = false;
    }
    interrupts(avr);
}

static uint8_t read_data(avr_t *avr, avr_io_addr_t address, void *param)
{
    (void)param;
    if (!fifo_count)
        return avr->data[address];
    uint8_t byte = fifo[0].byte;
    fifo[0] = fifo[1];
    fifo_count--;
    overrun_flag = false;
    if (shift_full) {
        shift_full = false;
        fifo[fifo_count++] = shift;
    }
    avr_clear_interrupt(avr, vector_rx);
    interrupts(avr);
    avr->data[address] = byte;
    return byte;
}

static void write_data(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    (void)param, (void)address;
    if (!(avr->data[UCSRB] & 1 << TXEN) || holding)
        return; /* as on the chip: a byte written without UDRE is lost */
    if (sending) {
        holding = true;
        held_byte = value;
    } else {
        sending = true;
        sending_byte = value;
        usart.line_taken = avr->cycle;
        avr_cycle_timer_register(
            avr, (avr_cycle_count_t)((double)avr->frequency * BITS_PER_BYTE / usart_chip_baud(avr) + 0.5), byte_sent, NULL);
    }
    interrupts(avr);
}

static void write_plain(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    (void)param;
    avr->data[address] = value;
}

static void set_register(avr_t *avr, int address, avr_io_read_t read, avr_io_write_t write)
{
    avr->io[AVR_DATA_TO_IO(address)].r.c = read;
    avr->io[AVR_DATA_TO_IO(address)].w.c = write;
}

void usart_attach(avr_t *avr)
{
    int received = strcmp(avr->mmcu, "atmega2560") == 0 ? 25 : 18;
    for (int i = 0; i < avr->interrupts.vector_count; i++) {
        if (avr->interrupts.vector[i]->vector == received)
            vector_rx = avr->interrupts.vector[i];
        if (avr->interrupts.vector[i]->vector == received + 1)
            vector_udre = avr->interrupts.vector[i];
    }
    set_register(avr, UCSRA, read_status, write_status);
    set_register(avr, UCSRB, NULL, write_control);
    set_register(avr, UBRRL, NULL, write_plain);
    set_register(avr, UDR, read_data, write_data);
    usart_reset(avr);
}

void usart_reset(avr_t *avr)
{
    (void)avr;
    queue_head = queue_tail = 0;
    fifo_count = 0;
    line_busy = shift_full = lost_pending = overrun_flag = sending = holding = false;
    u2x = 0;
}
