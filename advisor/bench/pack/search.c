/* All placements of n queens that do not attack each other, by backtracking. One unit: n = 8. */
#include "kernels.h"

#ifdef KERNEL_SEARCH
static uint32_t place(uint32_t all, uint32_t columns, uint32_t left, uint32_t right)
{
    uint32_t free = all & ~(columns | left | right), count = 0;
    if (columns == all) return 1;
    while (free) {
        uint32_t bit = free & (~free + 1u);
        free ^= bit;
        count += place(all, columns | bit, (left | bit) << 1, (right | bit) >> 1);
    }
    return count;
}

static uint32_t queens(int n) { return place((1u << n) - 1u, 0, 0, 0); }

static void unit(void) { shared.out = queens(8); }

/* OEIS A000170 for n = 1 to 9. */
static int vectors(void)
{
    static const uint16_t want[9] = {1, 0, 0, 2, 10, 4, 40, 92, 352};
    int good = 1;
    for (int n = 1; n <= 9; n++) good &= queens(n) == want[n - 1];
    return good;
}

static int result(void) { return shared.out == 92; }

const struct kernel kernel_search = {"search", 1, 4, vectors, nothing, unit, result};

#endif
