/* Edges of the data pins. See harness.h. */
#include "harness.h"

#include <stdio.h>
#include <string.h>

#include <simavr/avr_ioport.h>

#define NS_PER_CYCLE 62.5
#define ONE_FROM_NS 500.0       /* a high time between those of 0 and 1: where a decoder has to draw its line */
#define RESET_CYCLES (50 * 16u) /* 50 us: the shortest reset time of any sheet (WS2812B) ends a frame */

static FILE *edges;
static unsigned attached;

static void widen(range_ns *range, double ns)
{
    if (range->min > range->max) {
        range->min = range->max = ns;
    } else {
        range->min = ns < range->min ? ns : range->min;
        range->max = ns > range->max ? ns : range->max;
    }
}

static void end_frame(waveform *w)
{
    if (!w->high_seen)
        return;
    w->last_length = w->length;
    memcpy(w->last, w->bytes, w->length);
    w->last_start = w->frame_start;
    w->last_end = w->fall;
    w->last_spare_bits = w->bits;
    w->frames++;
    w->length = 0;
    w->bits = 0;
    w->high_seen = false;
}

static void on_rise(waveform *w, uint64_t cycle)
{
    if (w->high_seen) {
        uint64_t low = cycle - w->fall;
        double ns = (double)low * NS_PER_CYCLE;
        if (low >= RESET_CYCLES) {
            widen(&w->latch, ns);
            end_frame(w);
        } else if (w->bits == 0) {
            widen(&w->gap, ns);
        } else {
            widen(w->shift & 1 ? &w->t1l : &w->t0l, ns);
        }
    } else if (w->frames && w->fall) {
        widen(&w->latch, (double)(cycle - w->fall) * NS_PER_CYCLE);
    }
    if (!w->high_seen) {
        w->high_seen = true;
        w->frame_start = cycle;
    }
    w->rise = cycle;
}

static void on_fall(waveform *w, uint64_t cycle)
{
    double ns = (double)(cycle - w->rise) * NS_PER_CYCLE;
    bool one = ns >= ONE_FROM_NS;
    widen(one ? &w->t1h : &w->t0h, ns);
    w->shift = (uint8_t)(w->shift << 1 | one);
    w->fall = cycle;
    if (++w->bits == 8) {
        w->bits = 0;
        if (w->length < FRAME_BYTES_MAX)
            w->bytes[w->length++] = w->shift;
    }
}

static void on_edge(struct avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq;
    waveform *w = param;
    uint8_t level = value & 1;
    if (level == w->level)
        return;
    w->level = level;
    /* What the pixels of the chain do not keep for themselves leaves the last of them. */
    bool passed_on = !(level && w->high_seen && w->avr->cycle - w->fall >= RESET_CYCLES)
                     && w->length * 8 + w->bits >= w->chain_bits;
    if (w->chain_bits)
        avr_raise_irq(w->return_irq, passed_on && level); /* else driven low, whatever the chip's pull-up wants */
    if (edges) {
        uint64_t record[2] = {w->avr->cycle, level | (uint64_t)w->bit << 8};
        fwrite(record, sizeof record, 1, edges);
    }
    if (level)
        on_rise(w, w->avr->cycle);
    else if (w->high_seen)
        on_fall(w, w->avr->cycle);
}

void waveform_attach(waveform *w, avr_t *avr, char port, uint8_t bit)
{
    memset(w, 0, sizeof *w);
    w->avr = avr;
    w->port = port;
    w->bit = bit;
    waveform_clear_statistics(w);
    attached++;
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ(port), bit), on_edge, w);
}

void waveform_reset(waveform *w)
{
    /* A frame cut short stays in the pixels as far as it got: it is no frame. */
    w->length = 0;
    w->bits = 0;
    w->high_seen = false;
    w->level = 0;
    w->fall = 0;
}

void waveform_settle(waveform *w)
{
    if (w->high_seen && !w->level && w->avr->cycle - w->fall >= RESET_CYCLES)
        end_frame(w);
}

void waveform_clear_statistics(waveform *w)
{
    range_ns nothing = {1, 0};
    w->t0h = w->t1h = w->t0l = w->t1l = w->gap = w->latch = nothing;
}

bool waveform_record(const char *path)
{
    if (edges)
        fclose(edges);
    edges = path ? fopen(path, "wb") : NULL;
    return !path || edges;
}
