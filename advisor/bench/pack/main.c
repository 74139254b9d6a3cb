/* Runs every kernel that was built: its vectors first, then RUNS runs with the marker up, a line
   each. Then an idle and a sleeping stretch, marker down. */
#include "built.h"
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
#ifndef IDLE_MS
#define IDLE_MS 1200
#endif
#ifndef SLEEP_MS
#define SLEEP_MS 4200
#endif

union shared shared;

static const struct kernel *const ALL[] = {
#ifdef KERNEL_HASH
    &kernel_hash,
#endif
#ifdef KERNEL_CIPHER
    &kernel_cipher,
#endif
#ifdef KERNEL_CRC
    &kernel_crc,
#endif
#ifdef KERNEL_FILTER
    &kernel_filter,
#endif
#ifdef KERNEL_TRANSFORM
    &kernel_transform,
#endif
#ifdef KERNEL_MATRIX
    &kernel_matrix,
#endif
#ifdef KERNEL_SEARCH
    &kernel_search,
#endif
#ifdef KERNEL_COPY
    &kernel_copy,
#endif
#ifdef KERNEL_CONTROL
    &kernel_control,
#endif
};
enum { COUNT = sizeof ALL / sizeof ALL[0] };

/* read at run time, so that every number of units runs the same code */
static volatile uint32_t asked = UNITS;

void print_number(uint32_t value)
{
    char text[11], *p = text + 10;
    *p = 0;
    do {
        *--p = (char)('0' + value % 10u);
        value /= 10u;
    } while (value);
    port_print(p);
}

static void field(const char *name, uint32_t value)
{
    port_print(name);
    print_number(value);
}

static void settle(void)
{
#if SETTLE > 0
    uint32_t start = port_ticks();
    while (((port_ticks() - start) & PORT_TICKS_MASK) < SETTLE) {
    }
#endif
}

/* What was built and how, so that a log can be held against the notes. */
static void tell_build(void)
{
    port_print("built pack=" PACK_DIGEST "\nbuilt compiler=" COMPILER "\nbuilt flags=" PACK_FLAGS
               "\nbuilt optimised=" OPTIMISED "\nbuilt kernels=");
    for (unsigned k = 0; k < COUNT; k++) {
        if (k) port_print(",");
        port_print(ALL[k]->name);
    }
    field("\nbuilt runs=", RUNS);
    port_print("\n");
}

/* 0 when the kernel computed right. */
static int run(const struct kernel *kernel)
{
    uint32_t units = asked ? asked : kernel->units;
    int good = kernel->vectors(), failed = 0;
    kernel->prepare();
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
        field(" version=", kernel->version);
        field(" run=", run);
        field(" units=", units);
        field(" ticks=", (stop - start) & PORT_TICKS_MASK);
        port_print(right ? " check=right\n" : " check=WRONG\n");
    }
    return failed;
}

static void hold(const char *name, uint32_t ms, void (*stay)(uint32_t))
{
    if (!ms) return;
    port_print(name);
    field(" ms=", ms);
    port_print("\n");
    stay(ms);
}

/* 0 when every kernel computed right. */
int main(void)
{
    int failed = 0;
    tell_build();
    for (unsigned k = 0; k < COUNT; k++) failed |= run(ALL[k]);
    hold("state=idle", IDLE_MS, port_idle);
    hold("state=sleep", SLEEP_MS, port_sleep);
    port_print(failed ? "end check=WRONG\n" : "end check=right\n");
    return failed;
}
