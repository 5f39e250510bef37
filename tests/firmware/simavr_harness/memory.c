/* RAM, EEPROM and restarts. See harness.h. */
#include "harness.h"

#include <stdlib.h>
#include <string.h>

#include <simavr/avr_eeprom.h>
#include <simavr/sim_cycle_timers.h>

enum { MCUSR = 0x54, EECR = 0x3F, EEDR = 0x40, EEARL = 0x41, EEARH = 0x42 };
enum { PORF = 0, EXTRF = 1, BORF = 2, WDRF = 3 };
enum { EEPE = 1, EEMPE = 2 };

#define RAM_START 0x100
#define RAM_PATTERN 0xA5
#define EEPROM_WRITE_CYCLES (3400 * 16u)  /* 3.4 ms to erase and write a byte (ATmega328P data sheet, table 8-1) */

uint64_t eeprom_writes;

static uint16_t ram_used;
static avr_io_write_t write_eecr;
static void *write_eecr_param;
static struct {
    uint16_t address;
    uint8_t old, new;
    uint64_t begun;
    bool any;
} last_write;

static bool writing(const avr_t *avr)
{
    return last_write.any && avr->cycle - last_write.begun < EEPROM_WRITE_CYCLES;
}

static avr_cycle_count_t write_done(avr_t *avr, avr_cycle_count_t when, void *param)
{
    (void)when, (void)param;
    avr->data[EECR] &= (uint8_t)~(1 << EEPE);
    return 0;
}

/* Watches writes to the EEPROM's control register: to know which byte a power cut would catch, and to keep EEPE up for as
 * long as the chip takes, which simavr does not. */
static void watch_eecr(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    (void)param;
    bool begins = (avr->data[EECR] & 1 << EEMPE) && (value & 1 << EEPE) && !writing(avr);
    uint16_t at = (uint16_t)(avr->data[EEARL] | (avr->data[EEARH] & 3) << 8);
    uint8_t old = 0xFF;
    if (begins)
        memory_eeprom(avr, false, &old, at, 1);
    else
        value &= (uint8_t)~(1 << EEPE);
    write_eecr(avr, address, value, write_eecr_param);
    if (begins) {
        last_write.address = at;
        last_write.old = old;
        memory_eeprom(avr, false, &last_write.new, at, 1);
        last_write.begun = avr->cycle;
        last_write.any = true;
        eeprom_writes++;
        avr_cycle_timer_register(avr, EEPROM_WRITE_CYCLES, write_done, NULL);
    }
    if (writing(avr))
        avr->data[EECR] |= 1 << EEPE;
}

void memory_attach(avr_t *avr, uint16_t ram_used_end)
{
    ram_used = ram_used_end;
    write_eecr = avr->io[AVR_DATA_TO_IO(EECR)].w.c;
    write_eecr_param = avr->io[AVR_DATA_TO_IO(EECR)].w.param;
    avr->io[AVR_DATA_TO_IO(EECR)].w.c = watch_eecr;
}

static void forget_ram(avr_t *avr)
{
    memset(avr->data + RAM_START, RAM_PATTERN, (size_t)avr->ramend + 1 - RAM_START);
}

bool memory_restart(avr_t *avr, const char *cause)
{
    uint8_t flags, r2 = 0xFF; /* registers hold anything after a restart */
    if (strcmp(cause, "power") == 0)
        flags = 1 << PORF | 1 << BORF; /* a rising supply sets both */
    else if (strcmp(cause, "external") == 0)
        flags = 1 << EXTRF;
    else if (strcmp(cause, "brownout") == 0)
        flags = 1 << BORF;
    else if (strcmp(cause, "watchdog") == 0)
        flags = 1 << WDRF;
    else if (strcmp(cause, "unknown") == 0)
        flags = 0;
    else if (strcmp(cause, "bootloader") == 0)
        flags = 0, r2 = 1 << EXTRF;
    else
        return false;
    if (flags & 1 << PORF)
        forget_ram(avr);
    avr_reset(avr);
    usart_reset(avr);
    avr->data[MCUSR] = flags;
    avr->data[2] = r2;
    last_write.any = false;
    return true;
}

void memory_power_cut(avr_t *avr, uint32_t seed)
{
    if (writing(avr)) {
        /* The chip erases (bits to 1), then writes (bits to 0); a cut leaves either half done. */
        srand(seed);
        uint8_t chance = (uint8_t)rand(), left;
        if (avr->cycle - last_write.begun < EEPROM_WRITE_CYCLES / 2)
            left = last_write.old | chance;
        else
            left = last_write.new | chance;
        memory_eeprom(avr, true, &left, last_write.address, 1);
    }
    (void)memory_restart(avr, "power");
}

bool memory_eeprom(avr_t *avr, bool store, uint8_t *bytes, size_t offset, size_t size)
{
    if (offset + size > (size_t)avr->e2end + 1)
        return false;
    avr_eeprom_desc_t desc = {.ee = bytes, .offset = (uint16_t)offset, .size = (uint32_t)size};
    avr_ioctl(avr, store ? AVR_IOCTL_EEPROM_SET : AVR_IOCTL_EEPROM_GET, &desc);
    return true;
}

unsigned memory_stack_free(const avr_t *avr)
{
    unsigned untouched = 0;
    for (unsigned at = ram_used; at <= avr->ramend && avr->data[at] == RAM_PATTERN; at++)
        untouched++;
    return untouched;
}
