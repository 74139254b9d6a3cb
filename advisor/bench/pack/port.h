/* What the pack asks of a board: four functions, some 30 lines in all (see README.md). */
#ifndef PORT_H
#define PORT_H

#include <stdint.h>

/* Raise and lower the pin that says "at work", and nothing else. */
void port_marker_on(void);
void port_marker_off(void);

/* A counter that goes up, in any unit; differences are taken modulo PORT_TICKS_MASK + 1. */
uint32_t port_ticks(void);

/* Give out text as it is; lines end in \n. */
void port_print(const char *text);

#ifndef PORT_TICKS_MASK
#define PORT_TICKS_MASK 0xffffffffu
#endif

#endif
