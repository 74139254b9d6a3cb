/* The kernels: each does one stated unit of work in the buffer that all share, without a heap. */
#ifndef KERNELS_H
#define KERNELS_H

#include <stdint.h>

/* Which are built: -DKERNEL_CRC and its like choose some, -DKERNELS_SMALL those that fit into
   2 KiB of RAM with their stack, and neither means all. */
#ifdef KERNELS_SMALL
#define KERNEL_HASH
#define KERNEL_CIPHER
#define KERNEL_CRC
#define KERNEL_FILTER
#define KERNEL_TRANSFORM
#define KERNEL_MATRIX
#define KERNEL_SEARCH
#define KERNEL_CONTROL
#endif
#if !(defined KERNEL_HASH || defined KERNEL_CIPHER || defined KERNEL_CRC || \
      defined KERNEL_FILTER || defined KERNEL_TRANSFORM || defined KERNEL_MATRIX || \
      defined KERNEL_SEARCH || defined KERNEL_COPY || defined KERNEL_CONTROL)
#define KERNEL_HASH
#define KERNEL_CIPHER
#define KERNEL_CRC
#define KERNEL_FILTER
#define KERNEL_TRANSFORM
#define KERNEL_MATRIX
#define KERNEL_SEARCH
#define KERNEL_COPY
#define KERNEL_CONTROL
#endif

struct kernel {
    const char *name;
    uint16_t version; /* of its work: another one is other work, whose figures are not mixed */
    uint16_t units;   /* units of work in one run, unless UNITS says otherwise */
    int (*vectors)(void);  /* 1 when every published or independent vector holds */
    void (*prepare)(void); /* fills the input, once before the runs */
    void (*unit)(void);    /* one unit of work, always from the same input */
    int (*result)(void);   /* 1 when the whole output of the last unit is right */
};

extern const struct kernel kernel_hash, kernel_cipher, kernel_crc, kernel_filter, kernel_transform,
    kernel_matrix, kernel_search, kernel_copy, kernel_control;

/* The one buffer: as large as the largest need of the kernels that are built, not as their sum. */
union shared {
    uint32_t out; /* of those that give one number */
#ifdef KERNEL_HASH
    struct {
        uint32_t schedule[64];
        uint8_t data[1024], out[32];
    } hash;
#endif
#ifdef KERNEL_CIPHER
    struct {
        uint8_t keys[176], out[1024];
    } cipher;
#endif
#ifdef KERNEL_CRC
    struct {
        uint32_t out;
        uint8_t data[1024];
    } crc;
#endif
#ifdef KERNEL_FILTER
    struct {
        int16_t in[256 + 31], out[256];
    } filter;
#endif
#ifdef KERNEL_TRANSFORM
    struct {
        int16_t re[256], im[256];
    } transform;
#endif
#ifdef KERNEL_MATRIX
    struct {
        float a[8][8], b[8][8], c[8][8];
    } matrix;
#endif
#ifdef KERNEL_COPY
    struct {
        uint32_t here[256], there[256];
    } copy;
#endif
#ifdef KERNEL_CONTROL
    struct {
        int32_t out[256];
    } control;
#endif
};
extern union shared shared;

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

/* Where a kernel has no vectors of its own, or nothing to prepare. */
static inline int no_vectors(void) { return 1; }
static inline void nothing(void) {}

#endif
