/* A controller step in Q16: proportional and integral with a bound, on a first-order plant. One
   unit: 256 steps while the wanted value jumps four times. */
#include "kernels.h"

#ifdef KERNEL_CONTROL
static int32_t times(int32_t a, int32_t b) /* Q16 by Q12, both small enough for 32 bits */
{
    return shift_right(shift_right(a, 6) * b, 6);
}

static void unit(void)
{
    static const int32_t wanted[4] = {65536, -98304, 98304, 16384};
    int32_t plant = 0, sum = 0;
    for (int i = 0; i < 256; i++) {
        int32_t error = wanted[i / 64] - plant;
        int32_t drive = times(error, 6144) + sum; /* gain 1.5 */
        if (drive > 131072)
            drive = 131072;
        else if (drive < -131072)
            drive = -131072;
        else
            sum += times(error, 410); /* 0.1 a step, and none while the drive is at its bound */
        plant += times(drive - plant, 512); /* an eighth a step */
        shared.control.out[i] = plant;
    }
}

/* Digest of the plant's whole path by an independent computation. */
static int result(void)
{
    uint32_t d = DIGEST_START;
    for (int i = 0; i < 256; i++) d = digest(d, (uint32_t)shared.control.out[i], 4);
    return d == 0xe87b611du;
}

const struct kernel kernel_control = {"control", 1, 40, no_vectors, nothing, unit, result};

#endif
