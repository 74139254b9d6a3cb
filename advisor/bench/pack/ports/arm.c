/* An emulated Arm microcontroller: output and exit by semihosting; ticks by the system timer, which
   also wakes it from idling and sleeping. */
#include "bare.h"

int main(void);

#define TIMER_CONTROL (*(volatile uint32_t *)0xe000e010u)
#define TIMER_RELOAD  (*(volatile uint32_t *)0xe000e014u)
#define TIMER_COUNT   (*(volatile uint32_t *)0xe000e018u)
#define SLEEP_CONTROL (*(volatile uint32_t *)0xe000ed10u)
#define DEEP          4u

static volatile int marker;
static volatile uint32_t woken;

static int semihost(int what, const void *with)
{
    register int r0 __asm__("r0") = what;
    register const void *r1 __asm__("r1") = with;
    __asm__ volatile("bkpt 0xab" : "+r"(r0) : "r"(r1) : "memory");
    return r0;
}

/* The timer counts down 24 bits. */
static void timer(uint32_t reload, uint32_t control)
{
    TIMER_RELOAD = reload;
    TIMER_COUNT = 0;
    TIMER_CONTROL = control;
}

static void wake(void) { woken++; }

/* An interrupt every millisecond while the core waits; then the counter starts anew. */
static void wait_for(uint32_t ms, uint32_t deep)
{
    SLEEP_CONTROL = deep;
    woken = 0;
    timer(PORT_TICKS_PER_MS - 1u, 7);
    while (woken < ms) __asm__ volatile("wfi" ::: "memory");
    timer(0xffffffu, 5);
    SLEEP_CONTROL = 0;
}

void port_marker_on(void) { marker = 1; }
void port_marker_off(void) { marker = 0; }
uint32_t port_ticks(void) { return 0xffffffu - TIMER_COUNT; }
void port_print(const char *text) { semihost(0x04, text); }
void port_idle(uint32_t ms) { wait_for(ms, 0); }
void port_sleep(uint32_t ms) { wait_for(ms, DEEP); }

void start(void)
{
    uint32_t exit[2] = {0x20026u, 0};
#ifdef __ARM_FP
    *(volatile uint32_t *)0xe000ed88u |= 0xfu << 20; /* the float unit sleeps after reset */
    __asm__ volatile("dsb\n isb");
#endif
    memory_set_up();
    timer(0xffffffu, 5);
    exit[1] = (uint32_t)main();
    memory_tell();
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

#define FAULT (void *)fault
__attribute__((section(".vectors"), used)) static void *const VECTORS[16] = {
    &_stack, (void *)start, FAULT, FAULT, FAULT, FAULT, FAULT, FAULT,
    FAULT,   FAULT,         FAULT, FAULT, FAULT, FAULT, FAULT, (void *)wake};
