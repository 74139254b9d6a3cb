/* A low-pass filter of 32 taps in Q15. One unit: 256 samples through it, rounded, saturated. */
#include "kernels.h"

#ifdef KERNEL_FILTER
static const int16_t TAPS[32] = {
    -38, -46, 64, 96, -143, -209, 296, 409,
    -555, -745, 998, 1349, -1877, -2785, 4823, 14747,
    14747, 4823, -2785, -1877, 1349, 998, -745, -555,
    409, 296, -209, -143, 96, 64, -46, -38};

static void prepare(void)
{
    for (uint32_t i = 0; i < 287; i++)
        shared.filter.in[i] =
            (int16_t)((int32_t)(pattern(2 * i) | (uint32_t)pattern(2 * i + 1) << 8) - 32768);
}

static void unit(void)
{
    const int16_t *const in = shared.filter.in;
    int16_t *const out = shared.filter.out;
    for (int i = 0; i < 256; i++) {
        int32_t sum = 0x4000;
        for (int k = 0; k < 32; k++) sum += (int32_t)TAPS[k] * in[i + 31 - k];
        sum = shift_right(sum, 15);
        out[i] = (int16_t)(sum > 32767 ? 32767 : sum < -32768 ? -32768 : sum);
    }
}

/* Digest of the output by an independent computation; nothing is published for this filter. */
static int result(void)
{
    uint32_t d = DIGEST_START;
    for (int i = 0; i < 256; i++) d = digest(d, (uint16_t)shared.filter.out[i], 2);
    return d == 0xa7a96fefu;
}

const struct kernel kernel_filter = {"filter", 1, 20, no_vectors, prepare, unit, result};

#endif
