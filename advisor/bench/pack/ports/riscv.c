/* An emulated 32-bit RISC-V machine: output and exit by semihosting, ticks are retired
   instructions; its timer wakes it from idling and sleeping. */
#include "bare.h"

int main(void);

#define TIMER     (*(volatile uint32_t *)0x0200bff8u) /* 10 MHz; 32 of its 64 bits */
#define WAKE_LOW  (*(volatile uint32_t *)0x02004000u)
#define WAKE_HIGH (*(volatile uint32_t *)0x02004004u)

static volatile int marker;

__attribute__((noinline)) static int semihost(int what, const void *with)
{
    register int a0 __asm__("a0") = what;
    register const void *a1 __asm__("a1") = with;
    /* the three instructions are the call, and may not be compressed nor cross a page */
    __asm__ volatile(".option push\n .option norvc\n .balign 16\n slli x0, x0, 0x1f\n ebreak\n"
                     " srai x0, x0, 7\n .option pop"
                     : "+r"(a0)
                     : "r"(a1)
                     : "memory");
    return a0;
}

/* The core waits for the timer a millisecond at a time. Interrupts as a whole stay off: one that
   is enabled and pending ends the wait all the same. */
static void wait_for(uint32_t ms)
{
    uint32_t on = 1u << 7;
    __asm__ volatile(".option push\n .option arch, +zicsr\n csrs mie, %0\n .option pop" ::"r"(on));
    WAKE_HIGH = 0;
    for (; ms; ms--) {
        uint32_t until = TIMER + 10000u;
        WAKE_LOW = until;
        while ((int32_t)(TIMER - until) < 0) __asm__ volatile("wfi" ::: "memory");
    }
    __asm__ volatile(".option push\n .option arch, +zicsr\n csrc mie, %0\n .option pop" ::"r"(on));
}

void port_marker_on(void) { marker = 1; }
void port_marker_off(void) { marker = 0; }

uint32_t port_ticks(void)
{
    uint32_t count;
    __asm__ volatile(".option push\n .option arch, +zicsr\n csrr %0, minstret\n .option pop"
                     : "=r"(count));
    return count;
}

void port_print(const char *text) { semihost(0x04, text); }
void port_idle(uint32_t ms) { wait_for(ms); }
void port_sleep(uint32_t ms) { wait_for(ms); } /* this machine has no deeper state */

/* Anything unforeseen ends the run with a code of its own. */
__attribute__((aligned(4))) static void fault(void)
{
    uint32_t exit[2] = {0x20026u, 99};
    semihost(0x20, exit);
    for (;;) {
    }
}

__attribute__((used)) static void begin(void)
{
    uint32_t exit[2] = {0x20026u, 0};
    __asm__ volatile(".option push\n .option arch, +zicsr\n csrw mtvec, %0\n .option pop" ::"r"(
        fault));
    memory_set_up();
    exit[1] = (uint32_t)main();
    memory_tell();
    semihost(0x20, exit);
    for (;;) {
    }
}

__attribute__((naked, section(".vectors"), used)) void start(void)
{
    __asm__ volatile("la sp, _stack\n j begin");
}
