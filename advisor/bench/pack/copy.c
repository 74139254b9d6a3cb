/* Memory moved with a stride. One unit: 16 KiB, as 16 passes of 1 KiB whose stride of words is odd
   and differs from pass to pass, to and fro between two buffers. */
#include "kernels.h"

#ifdef KERNEL_COPY
enum { WORDS = 256, PASSES = 16 };

static void unit(void)
{
    uint32_t *const here = shared.copy.here, *from = here, *to = shared.copy.there;
    for (uint32_t i = 0; i < WORDS; i++)
        here[i] = pattern(4 * i) | (uint32_t)pattern(4 * i + 1) << 8 |
                  (uint32_t)pattern(4 * i + 2) << 16 | (uint32_t)pattern(4 * i + 3) << 24;
    for (uint32_t pass = 0; pass < PASSES; pass++) {
        uint32_t stride = 2 * pass + 3, at = pass, *next = from;
        for (uint32_t i = 0; i < WORDS; i++) {
            to[i] = from[at];
            at = (at + stride) & (WORDS - 1);
        }
        from = to;
        to = next;
    }
}

/* Digest of the words where they end up, by an independent computation. */
static int result(void)
{
    uint32_t d = DIGEST_START;
    for (int i = 0; i < WORDS; i++) d = digest(d, shared.copy.here[i], 4);
    return d == 0xc940dbc5u;
}

const struct kernel kernel_copy = {"copy", 1, 20, no_vectors, nothing, unit, result};

#endif
