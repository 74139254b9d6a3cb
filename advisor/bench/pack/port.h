/* What the pack asks of a board: six functions, some 50 lines in all (see README.md). */
#ifndef PORT_H
#define PORT_H

#include <stdint.h>

/* Raise and lower the pin that says "at work", and nothing else. */
void port_marker_on(void);
void port_marker_off(void);

/* A counter that goes up, in any unit; differences are taken modulo PORT_TICKS_MASK + 1. */
uint32_t port_ticks(void);

/* Give out text as it is; lines end in \n. Come back when it is out. */
void port_print(const char *text);

/* Stay so many milliseconds with the clocks running and the core waiting for an interrupt. */
void port_idle(uint32_t ms);

/* Stay so many milliseconds in the sleep state that the notes name; a timer that runs there
   ends it. */
void port_sleep(uint32_t ms);

#ifndef PORT_TICKS_MASK
#define PORT_TICKS_MASK 0xffffffffu
#endif

/* Given by the pack: a number in decimal digits, by port_print. */
void print_number(uint32_t value);

#endif
