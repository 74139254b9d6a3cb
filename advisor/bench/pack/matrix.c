/* Product of two 8 x 8 matrices in single precision. Entries are sixteenths, so that every product
   and sum is exact and no contraction or order of sums can show. One unit: one product. */
#include "kernels.h"

#ifdef KERNEL_MATRIX
static void prepare(void)
{
    for (uint32_t i = 0; i < 64; i++) {
        shared.matrix.a[i / 8][i % 8] = (float)((int)pattern(i) - 128) / 16.0f;
        shared.matrix.b[i / 8][i % 8] = (float)((int)pattern(i + 64) - 128) / 16.0f;
    }
}

static void unit(void)
{
    float(*const a)[8] = shared.matrix.a, (*const b)[8] = shared.matrix.b;
    for (int i = 0; i < 8; i++)
        for (int j = 0; j < 8; j++) {
            float sum = 0.0f;
            for (int k = 0; k < 8; k++) sum += a[i][k] * b[k][j];
            shared.matrix.c[i][j] = sum;
        }
}

/* Digest of 256 times each entry, a whole number, by an independent computation. */
static int result(void)
{
    uint32_t d = DIGEST_START;
    for (int i = 0; i < 64; i++)
        d = digest(d, (uint32_t)(int32_t)(shared.matrix.c[i / 8][i % 8] * 256.0f), 4);
    return d == 0x6193c031u;
}

const struct kernel kernel_matrix = {"matrix", 1, 20, no_vectors, prepare, unit, result};

#endif
