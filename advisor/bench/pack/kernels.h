/* The kernels: each does one stated unit of work on buffers of its own, without a heap. */
#ifndef KERNELS_H
#define KERNELS_H

#include <stdint.h>

struct kernel {
    const char *name;
    uint16_t units;       /* units of work in one run, unless UNITS says otherwise */
    void (*unit)(void);   /* one unit of work, always from the same input */
    int (*vectors)(void); /* 1 when every published or independent vector holds */
    int (*result)(void);  /* 1 when the whole output of the last unit is right */
};

extern const struct kernel kernel_hash, kernel_cipher, kernel_crc, kernel_filter, kernel_transform,
    kernel_matrix, kernel_search, kernel_copy, kernel_control;

/* Shared by the kernels, kept out of what is timed. */

/* Byte k of the pattern that inputs are filled with. */
static inline uint8_t pattern(uint32_t k) { return (uint8_t)(k * 167u + (k >> 8) * 29u + 13u); }

/* FNV-1a over the low `bytes` bytes of a value, least significant first. */
static inline uint32_t digest(uint32_t state, uint32_t value, int bytes)
{
    for (int i = 0; i < bytes; i++) {
        state = (state ^ (value & 0xffu)) * 16777619u;
        value >>= 8;
    }
    return state;
}
#define DIGEST_START 2166136261u

/* Arithmetic shift right; C99 leaves >> of a negative value to the compiler. */
static inline int32_t shift_right(int32_t x, int n) { return x < 0 ? ~(~x >> n) : x >> n; }

/* Equality of bytes, without a C library. */
static inline int same(const uint8_t *a, const uint8_t *b, int n)
{
    int differ = 0;
    for (int i = 0; i < n; i++) differ |= a[i] ^ b[i];
    return !differ;
}

#endif
