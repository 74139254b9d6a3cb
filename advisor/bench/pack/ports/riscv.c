/* An emulated 32-bit RISC-V machine: output and exit by semihosting, ticks are retired
   instructions. */
#include "port.h"

int main(void);
extern uint32_t _data_from, _data, _data_end, _bss, _bss_end;

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

__attribute__((used)) static void begin(void)
{
    uint32_t exit[2] = {0x20026u, 0};
    uint32_t *from = &_data_from;
    for (uint32_t *to = &_data; to < &_data_end;) *to++ = *from++;
    for (uint32_t *to = &_bss; to < &_bss_end;) *to++ = 0;
    exit[1] = (uint32_t)main();
    semihost(0x20, exit);
    for (;;) {
    }
}

__attribute__((naked, section(".vectors"), used)) void start(void)
{
    __asm__ volatile("la sp, _stack\n j begin");
}
