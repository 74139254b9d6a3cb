/* SHA-256 (FIPS 180-4). One unit: one block of 1 KiB hashed, padding included. */
#include "kernels.h"

#ifdef KERNEL_HASH
static const uint32_t K[64] = {
    0x428a2f98u, 0x71374491u, 0xb5c0fbcfu, 0xe9b5dba5u, 0x3956c25bu, 0x59f111f1u,
    0x923f82a4u, 0xab1c5ed5u, 0xd807aa98u, 0x12835b01u, 0x243185beu, 0x550c7dc3u,
    0x72be5d74u, 0x80deb1feu, 0x9bdc06a7u, 0xc19bf174u, 0xe49b69c1u, 0xefbe4786u,
    0x0fc19dc6u, 0x240ca1ccu, 0x2de92c6fu, 0x4a7484aau, 0x5cb0a9dcu, 0x76f988dau,
    0x983e5152u, 0xa831c66du, 0xb00327c8u, 0xbf597fc7u, 0xc6e00bf3u, 0xd5a79147u,
    0x06ca6351u, 0x14292967u, 0x27b70a85u, 0x2e1b2138u, 0x4d2c6dfcu, 0x53380d13u,
    0x650a7354u, 0x766a0abbu, 0x81c2c92eu, 0x92722c85u, 0xa2bfe8a1u, 0xa81a664bu,
    0xc24b8b70u, 0xc76c51a3u, 0xd192e819u, 0xd6990624u, 0xf40e3585u, 0x106aa070u,
    0x19a4c116u, 0x1e376c08u, 0x2748774cu, 0x34b0bcb5u, 0x391c0cb3u, 0x4ed8aa4au,
    0x5b9cca4fu, 0x682e6ff3u, 0x748f82eeu, 0x78a5636fu, 0x84c87814u, 0x8cc70208u,
    0x90befffau, 0xa4506cebu, 0xbef9a3f7u, 0xc67178f2u};
static const uint32_t START[8] = {
    0x6a09e667u, 0xbb67ae85u, 0x3c6ef372u, 0xa54ff53au,
    0x510e527fu, 0x9b05688cu, 0x1f83d9abu, 0x5be0cd19u};

static uint32_t turn(uint32_t x, int n) { return (x >> n) | (x << (32 - n)); }

static void block(uint32_t h[8], const uint8_t *p)
{
    uint32_t *const w = shared.hash.schedule, s[8];
    for (int i = 0; i < 16; i++, p += 4)
        w[i] = (uint32_t)p[0] << 24 | (uint32_t)p[1] << 16 | (uint32_t)p[2] << 8 | p[3];
    for (int i = 16; i < 64; i++) {
        uint32_t a = w[i - 15], b = w[i - 2];
        w[i] = w[i - 16] + (turn(a, 7) ^ turn(a, 18) ^ (a >> 3)) + w[i - 7] +
               (turn(b, 17) ^ turn(b, 19) ^ (b >> 10));
    }
    for (int i = 0; i < 8; i++) s[i] = h[i];
    for (int i = 0; i < 64; i++) {
        uint32_t t1 = s[7] + (turn(s[4], 6) ^ turn(s[4], 11) ^ turn(s[4], 25)) +
                      ((s[4] & s[5]) ^ (~s[4] & s[6])) + K[i] + w[i];
        uint32_t t2 = (turn(s[0], 2) ^ turn(s[0], 13) ^ turn(s[0], 22)) +
                      ((s[0] & s[1]) ^ (s[0] & s[2]) ^ (s[1] & s[2]));
        for (int j = 7; j > 0; j--) s[j] = s[j - 1];
        s[4] += t1;
        s[0] = t1 + t2;
    }
    for (int i = 0; i < 8; i++) h[i] += s[i];
}

static void hash(const uint8_t *p, uint32_t n, uint8_t to[32])
{
    uint32_t h[8], left = n;
    uint8_t last[128];
    uint32_t size;
    for (int i = 0; i < 8; i++) h[i] = START[i];
    for (; left >= 64; left -= 64, p += 64) block(h, p);
    size = left < 56 ? 64 : 128;
    for (uint32_t i = 0; i < size; i++) last[i] = i < left ? p[i] : 0;
    last[left] = 0x80;
    for (uint32_t i = 0; i < 4; i++) last[size - 1 - i] = (uint8_t)(n << 3 >> (8 * i));
    for (uint32_t i = 0; i < size; i += 64) block(h, last + i);
    for (int i = 0; i < 32; i++) to[i] = (uint8_t)(h[i / 4] >> (24 - 8 * (i % 4)));
}

static void prepare(void)
{
    for (uint32_t i = 0; i < 1024; i++) shared.hash.data[i] = pattern(i);
}

static void unit(void) { hash(shared.hash.data, 1024, shared.hash.out); }

/* FIPS 180-4: "abc"; and the two-block message of 56 bytes. */
static int vectors(void)
{
    static const uint8_t abc[32] = {
        0xba, 0x78, 0x16, 0xbf, 0x8f, 0x01, 0xcf, 0xea,
        0x41, 0x41, 0x40, 0xde, 0x5d, 0xae, 0x22, 0x23,
        0xb0, 0x03, 0x61, 0xa3, 0x96, 0x17, 0x7a, 0x9c,
        0xb4, 0x10, 0xff, 0x61, 0xf2, 0x00, 0x15, 0xad};
    static const uint8_t two[32] = {
        0x24, 0x8d, 0x6a, 0x61, 0xd2, 0x06, 0x38, 0xb8,
        0xe5, 0xc0, 0x26, 0x93, 0x0c, 0x3e, 0x60, 0x39,
        0xa3, 0x3c, 0xe4, 0x59, 0x64, 0xff, 0x21, 0x67,
        0xf6, 0xec, 0xed, 0xd4, 0x19, 0xdb, 0x06, 0xc1};
    static const uint8_t message[57] = "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq";
    uint8_t got[32];
    int good;
    hash(message, 3, got);
    good = same(got, abc, 32);
    hash(message, 56, got);
    return good & same(got, two, 32);
}

/* The same library that checks the vectors gave this digest of the pattern. */
static int result(void)
{
    static const uint8_t want[32] = {
        0xb2, 0x2a, 0x66, 0xb3, 0x4d, 0x46, 0x06, 0x31,
        0xa2, 0x3f, 0x91, 0xf0, 0x1e, 0x09, 0x49, 0x6d,
        0x3b, 0xcb, 0xf4, 0x18, 0xd9, 0x3d, 0x9a, 0x5c,
        0x63, 0x42, 0xe0, 0xc2, 0xed, 0x65, 0x3c, 0x1a};
    return same(shared.hash.out, want, 32);
}

const struct kernel kernel_hash = {"hash", 1, 20, vectors, prepare, unit, result};

#endif
