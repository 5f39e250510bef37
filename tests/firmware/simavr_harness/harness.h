/* A simulated ATmega328P around a firmware, for tests: parts and what they offer to each other.
 *
 * simavr is a test tool here (GPL-3): nothing that is shipped links it.
 */
#ifndef HARNESS_H
#define HARNESS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include <simavr/sim_avr.h>

#define CYCLES_PER_MS 16000ull
#define OUTPUTS_MAX 8

/* ---- usart.c: the chip's USART 0 as its data sheet has it, in place of simavr's own (whose 64-byte buffer never
 * overruns): two received bytes and one in the shift register, then data overrun; 10 bits a byte both ways. ---- */

void usart_attach(avr_t *avr);
void usart_reset(avr_t *avr);
/* Puts bytes on the line to the chip, back to back; false when the queue is full. */
bool usart_feed(avr_t *avr, const uint8_t *bytes, size_t count);
size_t usart_queue_room(void);
/* An overrun here, as if bytes had come too fast. */
void usart_lose(void);
/* Nothing on the line either way. */
bool usart_idle(void);
bool usart_receiver_on(const avr_t *avr);
/* The chip's own speed, from its divisor; 0 while the divisor is not set. */
double usart_chip_baud(const avr_t *avr);
/* Called with every byte that the chip has sent. */
extern void (*usart_on_sent)(uint8_t byte);

typedef struct usart_counts {
    double host_baud; /* speed of the far end */
    bool early_overrun; /* flag an overrun at once, instead of with the byte that follows the loss */
    uint64_t fed, received, overruns, sent;
    uint64_t line_taken; /* cycle at which the chip last began to send on a quiet line */
} usart_counts;
extern usart_counts usart;

/* ---- waveform.c: edges of the data pins, decoded as the pixels would ---- */

#define FRAME_BYTES_MAX 65536

typedef struct range_ns {
    double min, max; /* min > max: nothing seen */
} range_ns;

typedef struct waveform {
    avr_t *avr;
    char port;
    uint8_t bit;
    uint8_t level;
    uint64_t rise, fall; /* cycle of the last edges */
    bool high_seen;
    uint8_t shift, bits; /* the byte being gathered */
    uint64_t frame_start;
    size_t length;
    uint8_t bytes[FRAME_BYTES_MAX];
    /* the last frame that was followed by a latch */
    size_t last_length;
    uint8_t last[FRAME_BYTES_MAX];
    uint64_t last_start, last_end;
    unsigned last_spare_bits; /* bits beyond whole bytes: 0 in a sound frame */
    uint64_t frames;
    /* a return wire: pixels of the chain, 0 for none, and the input that its last pixel drives */
    unsigned chain_bits;
    avr_irq_t *return_irq;
    /* statistics since they were cleared */
    range_ns t0h, t1h, t0l, t1l, gap, latch;
} waveform;

void waveform_attach(waveform *w, avr_t *avr, char port, uint8_t bit);
void waveform_reset(waveform *w);
/* Takes the frame in hand as ended if its line has been low for the reset time. */
void waveform_settle(waveform *w);
void waveform_clear_statistics(waveform *w);
/* From now on every edge goes to this file as two 64-bit words: cycle, then level + 256 x output; NULL stops it. */
bool waveform_record(const char *path);

/* ---- memory.c: what survives a restart and what does not ---- */

void memory_attach(avr_t *avr, uint16_t ram_used_end);
/* Restarts the chip: power (RAM lost), external, brownout, watchdog, unknown (no flag set), or bootloader (as after a
 * bootloader that was entered by the reset pin, cleared the flags and left them in r2); false for another cause. */
bool memory_restart(avr_t *avr, const char *cause);
/* Cuts the power now: an EEPROM byte being written is left half done. */
void memory_power_cut(avr_t *avr, uint32_t seed);
bool memory_eeprom(avr_t *avr, bool store, uint8_t *bytes, size_t offset, size_t size);
/* Bytes of RAM between the variables and the deepest stack that were never written since power-up. */
unsigned memory_stack_free(const avr_t *avr);
extern uint64_t eeprom_writes;

#endif
