/* An emulated Arm microcontroller: output and exit by semihosting, ticks by the system timer. */
#include "port.h"

int main(void);
extern uint32_t _stack;
extern uint32_t _data_from, _data, _data_end, _bss, _bss_end;

static volatile int marker;

static int semihost(int what, const void *with)
{
    register int r0 __asm__("r0") = what;
    register const void *r1 __asm__("r1") = with;
    __asm__ volatile("bkpt 0xab" : "+r"(r0) : "r"(r1) : "memory");
    return r0;
}

void port_marker_on(void) { marker = 1; }
void port_marker_off(void) { marker = 0; }

/* The timer counts down 24 bits. */
uint32_t port_ticks(void) { return 0xffffffu - *(volatile uint32_t *)0xe000e018u; }
void port_print(const char *text) { semihost(0x04, text); }

void start(void)
{
    uint32_t exit[2] = {0x20026u, 0};
    uint32_t *from = &_data_from;
#ifdef __ARM_FP
    *(volatile uint32_t *)0xe000ed88u |= 0xfu << 20; /* the float unit sleeps after reset */
    __asm__ volatile("dsb\n isb");
#endif
    for (uint32_t *to = &_data; to < &_data_end;) *to++ = *from++;
    for (uint32_t *to = &_bss; to < &_bss_end;) *to++ = 0;
    *(volatile uint32_t *)0xe000e014u = 0xffffffu;
    *(volatile uint32_t *)0xe000e018u = 0;
    *(volatile uint32_t *)0xe000e010u = 5;
    exit[1] = (uint32_t)main();
    semihost(0x20, exit);
    for (;;) {
    }
}

/* Anything unforeseen ends the run with a code of its own. */
static void fault(void)
{
    uint32_t exit[2] = {0x20026u, 99};
    semihost(0x20, exit);
    for (;;) {
    }
}

__attribute__((section(".vectors"), used)) static void *const VECTORS[] = {
    &_stack, (void *)start, (void *)fault, (void *)fault, (void *)fault, (void *)fault};
