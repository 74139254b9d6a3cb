/* A host with a C library: processor time in microseconds, lines on standard output. */
#include "port.h"

#include <stdio.h>
#include <time.h>

static volatile int marker;

void port_marker_on(void) { marker = 1; }
void port_marker_off(void) { marker = 0; }
uint32_t port_ticks(void) { return (uint32_t)((double)clock() * 1e6 / CLOCKS_PER_SEC); }
void port_print(const char *text) { fputs(text, stdout); }
