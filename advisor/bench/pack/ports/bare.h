/* Memory of a machine without a C library: set up before main, and what of it was used. */
#ifndef BARE_H
#define BARE_H

#include "port.h"

extern uint32_t _ram, _data_from, _data, _data_end, _bss, _bss_end, _stack;

#define PAINT 0xa5c35a3cu

/* Variables as they begin, and paint on what the stack has not reached yet. */
static inline void memory_set_up(void)
{
    /* a few words below this frame are the loop's own */
    uint32_t *own = (uint32_t *)__builtin_frame_address(0) - 24;
    const uint32_t *from = &_data_from;
    for (uint32_t *to = &_data; to < &_data_end;) *to++ = *from++;
    for (uint32_t *to = &_bss; to < &_bss_end;) *to++ = 0;
    for (volatile uint32_t *to = &_bss_end; (uint32_t *)to < own;) *to++ = PAINT;
}

static inline uint32_t bytes(const uint32_t *from, const uint32_t *to)
{
    return (uint32_t)to - (uint32_t)from;
}

/* Bytes of variables, bytes that the stack reached at most, and those that it had. */
static inline void memory_tell(void)
{
    const uint32_t *reached = &_bss_end;
    while (reached < &_stack && *reached == PAINT) reached++;
    port_print("memory fixed=");
    print_number(bytes(&_ram, &_bss_end));
    port_print(" stack=");
    print_number(bytes(reached, &_stack));
    port_print(" room=");
    print_number(bytes(&_bss_end, &_stack));
    port_print("\n");
}

#endif
