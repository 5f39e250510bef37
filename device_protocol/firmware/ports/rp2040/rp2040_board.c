/* The core on a bare RP2040, for tests in an emulator: the line is UART 0 (GPIO 0 and 1), the pixels go out by PIO
 * (src/generic/pp_send_rp2040.c), a button is on GPIO 15. No clock is set up: an emulator runs at 125 MHz from the start, a real
 * chip does not. On a real board take the sketch with an Arduino core.
 * SPDX-License-Identifier: MIT */
#include "../../sketch/playfield_probe/src/generic/pp_generic.h"

#define REGISTER(address) (*(volatile uint32_t *)(uintptr_t)(address))
#define RESETS_CLEAR REGISTER(0x4000F000u)
#define RESETS_DONE REGISTER(0x4000C008u)
#define RESET_UART0 (1u << 22)
#define RESET_TIMER (1u << 21)
#define GPIO_CTRL(pin) REGISTER(0x40014004u + 8u * (pin))
#define GPIO_IN REGISTER(0xD0000004u)
#define UART(offset) REGISTER(0x40034000u + (offset))
#define UART_DATA UART(0x00u)
#define UART_FLAGS UART(0x18u)
#define RECEIVE_EMPTY (1u << 4)
#define SEND_FULL (1u << 5)
#define OVERRUN (1u << 11)
#define FRAMING (1u << 8)
#define TIMER_RAW_US REGISTER(0x40054028u)
#define BUTTON_PIN 15u

static pp_board board;
static uint8_t wire[4u * PP_PIXELS];

static int16_t receive(void *self)
{
    (void)self;
    if (UART_FLAGS & RECEIVE_EMPTY)
        return PP_NOTHING;
    uint32_t data = UART_DATA;
    return data & (OVERRUN | FRAMING) ? PP_LOST : (int16_t)(data & 0xFFu);
}

static void send(void *self, uint8_t byte)
{
    (void)self;
    while (UART_FLAGS & SEND_FULL)
        ;
    UART_DATA = byte;
}

/* Milliseconds; the timer's 32 bits of us wrap after 71 minutes, and it is read far more often. */
static uint32_t now_ms(void *self)
{
    static uint32_t ms, last_us, rest_us;
    (void)self;
    uint32_t us = TIMER_RAW_US;
    rest_us += us - last_us;
    last_us = us;
    ms += rest_us / 1000u;
    rest_us %= 1000u;
    return ms;
}

static void send_frame(void *self, uint8_t output, const pp_frame *frame)
{
    (void)self;
    uint8_t *to = wire;
    for (uint16_t pixel = 0; pixel < frame->count; pixel++) {
        const uint8_t *bytes = pp_frame_pixel(frame, pixel);
        for (uint8_t i = 0; i < frame->colours; i++)
            *to++ = bytes[i];
    }
    (void)pp_generic_send(output, wire, (size_t)(to - wire));
    uint32_t begun_us = TIMER_RAW_US;
    while (TIMER_RAW_US - begun_us < frame->latch_us)
        ;
}

static bool button_closed(void *self)
{
    (void)self;
    return !(GPIO_IN & (1u << BUTTON_PIN));
}

static const pp_port port = {
    .receive = receive, .send = send, .send_frame = send_frame, .now_ms = now_ms, .button_closed = button_closed};

int main(void)
{
    pp_generic_pins();
    RESETS_CLEAR = RESET_UART0 | RESET_TIMER;
    while ((RESETS_DONE & (RESET_UART0 | RESET_TIMER)) != (RESET_UART0 | RESET_TIMER))
        ;
    UART(0x24u) = 67; /* 125 MHz / (16 x 115,200) = 67.82 */
    UART(0x28u) = 52;
    UART(0x2Cu) = 0x70; /* 8 bits, FIFOs on */
    UART(0x30u) = 0x301;
    GPIO_CTRL(0u) = 2;
    GPIO_CTRL(1u) = 2;
    GPIO_CTRL(BUTTON_PIN) = 5;
    pp_start(&board, &port, 0, PP_CAUSE_POWER);
    for (;;)
        (void)pp_poll(&board);
}

extern uint32_t stack_top, data_load, data_begin, data_end, bss_begin, bss_end;

/* Brings the memory into its first state. */
static void start(void)
{
    const uint32_t *from = &data_load;
    for (uint32_t *to = &data_begin; to < &data_end;)
        *to++ = *from++;
    for (uint32_t *to = &bss_begin; to < &bss_end;)
        *to++ = 0;
    (void)main();
}

__attribute__((section(".vectors"), used)) static const struct {
    uint32_t *stack;
    void (*reset)(void);
} vectors = {&stack_top, start};
