/* Runs every kernel: its vectors first, then RUNS runs with the marker up, a line each. */
#include "kernels.h"
#include "port.h"

#ifndef RUNS
#define RUNS 20
#endif
#ifndef UNITS
#define UNITS 0 /* each kernel's own number of units in a run */
#endif
#ifndef SETTLE
#define SETTLE 0 /* ticks to wait, marker down, before each run: a pause to see in a trace */
#endif

static const struct kernel *const ALL[] = {
    &kernel_hash,   &kernel_cipher, &kernel_crc,  &kernel_filter, &kernel_transform,
    &kernel_matrix, &kernel_search, &kernel_copy, &kernel_control};

/* read at run time, so that every number of units runs the same code */
static volatile uint32_t asked = UNITS;

static void number(uint32_t value)
{
    char text[11], *p = text + 10;
    *p = 0;
    do {
        *--p = (char)('0' + value % 10u);
        value /= 10u;
    } while (value);
    port_print(p);
}

static void settle(void)
{
#if SETTLE > 0
    uint32_t start = port_ticks();
    while (((port_ticks() - start) & PORT_TICKS_MASK) < SETTLE) {
    }
#endif
}

/* 0 when every kernel computed right. */
int main(void)
{
    int failed = 0;
    for (unsigned k = 0; k < sizeof ALL / sizeof ALL[0]; k++) {
        const struct kernel *kernel = ALL[k];
        uint32_t units = asked ? asked : kernel->units;
        int good = kernel->vectors();
        for (uint32_t run = 1; run <= RUNS; run++) {
            uint32_t start, stop;
            int right;
            settle();
            port_marker_on();
            start = port_ticks();
            for (uint32_t i = 0; i < units; i++) kernel->unit();
            stop = port_ticks();
            port_marker_off();
            right = good & kernel->result();
            failed |= !right;
            port_print("kernel=");
            port_print(kernel->name);
            port_print(" run=");
            number(run);
            port_print(" units=");
            number(units);
            port_print(" ticks=");
            number((stop - start) & PORT_TICKS_MASK);
            port_print(right ? " check=right\n" : " check=WRONG\n");
        }
    }
    port_print(failed ? "end check=WRONG\n" : "end check=right\n");
    return failed;
}
