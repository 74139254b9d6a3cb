/* A host with a C library: processor time in microseconds, lines on standard output. It can only
   wait, so idle and sleep are alike. */
#define _POSIX_C_SOURCE 199309L
#include "port.h"

#include <stdio.h>
#include <time.h>

static volatile int marker;

static void wait_for(uint32_t ms)
{
    struct timespec left = {(time_t)(ms / 1000), (long)(ms % 1000) * 1000000L};
    fflush(stdout);
    while (nanosleep(&left, &left)) {
    }
}

void port_marker_on(void) { marker = 1; }
void port_marker_off(void) { marker = 0; }
uint32_t port_ticks(void) { return (uint32_t)((double)clock() * 1e6 / CLOCKS_PER_SEC); }
void port_print(const char *text) { fputs(text, stdout); }
void port_idle(uint32_t ms) { wait_for(ms); }
void port_sleep(uint32_t ms) { wait_for(ms); }
