/* Fourier transform in Q15, radix 2, halved at every stage. One unit: 256 complex points. */
#include "kernels.h"

#ifdef KERNEL_TRANSFORM
/* cos and -sin of 2 pi k / 256, times 32767 */
static const int16_t TURN[128][2] = {
    {32767, 0}, {32757, -804}, {32728, -1608}, {32678, -2410}, {32609, -3212}, {32521, -4011},
    {32412, -4808}, {32285, -5602}, {32137, -6393}, {31971, -7179}, {31785, -7962}, {31580, -8739},
    {31356, -9512}, {31113, -10278}, {30852, -11039}, {30571, -11793}, {30273, -12539}, {29956, -13279},
    {29621, -14010}, {29268, -14732}, {28898, -15446}, {28510, -16151}, {28105, -16846}, {27683, -17530},
    {27245, -18204}, {26790, -18868}, {26319, -19519}, {25832, -20159}, {25329, -20787}, {24811, -21403},
    {24279, -22005}, {23731, -22594}, {23170, -23170}, {22594, -23731}, {22005, -24279}, {21403, -24811},
    {20787, -25329}, {20159, -25832}, {19519, -26319}, {18868, -26790}, {18204, -27245}, {17530, -27683},
    {16846, -28105}, {16151, -28510}, {15446, -28898}, {14732, -29268}, {14010, -29621}, {13279, -29956},
    {12539, -30273}, {11793, -30571}, {11039, -30852}, {10278, -31113}, {9512, -31356}, {8739, -31580},
    {7962, -31785}, {7179, -31971}, {6393, -32137}, {5602, -32285}, {4808, -32412}, {4011, -32521},
    {3212, -32609}, {2410, -32678}, {1608, -32728}, {804, -32757}, {0, -32767}, {-804, -32757},
    {-1608, -32728}, {-2410, -32678}, {-3212, -32609}, {-4011, -32521}, {-4808, -32412}, {-5602, -32285},
    {-6393, -32137}, {-7179, -31971}, {-7962, -31785}, {-8739, -31580}, {-9512, -31356}, {-10278, -31113},
    {-11039, -30852}, {-11793, -30571}, {-12539, -30273}, {-13279, -29956}, {-14010, -29621}, {-14732, -29268},
    {-15446, -28898}, {-16151, -28510}, {-16846, -28105}, {-17530, -27683}, {-18204, -27245}, {-18868, -26790},
    {-19519, -26319}, {-20159, -25832}, {-20787, -25329}, {-21403, -24811}, {-22005, -24279}, {-22594, -23731},
    {-23170, -23170}, {-23731, -22594}, {-24279, -22005}, {-24811, -21403}, {-25329, -20787}, {-25832, -20159},
    {-26319, -19519}, {-26790, -18868}, {-27245, -18204}, {-27683, -17530}, {-28105, -16846}, {-28510, -16151},
    {-28898, -15446}, {-29268, -14732}, {-29621, -14010}, {-29956, -13279}, {-30273, -12539}, {-30571, -11793},
    {-30852, -11039}, {-31113, -10278}, {-31356, -9512}, {-31580, -8739}, {-31785, -7962}, {-31971, -7179},
    {-32137, -6393}, {-32285, -5602}, {-32412, -4808}, {-32521, -4011}, {-32609, -3212}, {-32678, -2410},
    {-32728, -1608}, {-32757, -804}};

static void transform(int n)
{
    int16_t *const re = shared.transform.re, *const im = shared.transform.im;
    for (int i = 1, j = 0; i < n; i++) {
        int bit = n >> 1;
        for (; j & bit; bit >>= 1) j ^= bit;
        j ^= bit;
        if (i < j) {
            int16_t t = re[i];
            re[i] = re[j];
            re[j] = t;
            t = im[i];
            im[i] = im[j];
            im[j] = t;
        }
    }
    for (int half = 1; half < n; half <<= 1) {
        int step = 128 / half;
        for (int k = 0; k < half; k++) {
            int32_t c = TURN[k * step][0], s = TURN[k * step][1];
            for (int a = k; a < n; a += 2 * half) {
                int b = a + half;
                int32_t x = shift_right(c * re[b] - s * im[b] + 0x4000, 15);
                int32_t y = shift_right(c * im[b] + s * re[b] + 0x4000, 15);
                int32_t u = re[a], v = im[a];
                re[a] = (int16_t)shift_right(u + x, 1);
                im[a] = (int16_t)shift_right(v + y, 1);
                re[b] = (int16_t)shift_right(u - x, 1);
                im[b] = (int16_t)shift_right(v - y, 1);
            }
        }
    }
}

static void unit(void)
{
    int16_t *const re = shared.transform.re, *const im = shared.transform.im;
    for (uint32_t i = 0; i < 256; i++) {
        re[i] = (int16_t)(128 * ((int)pattern(i) - 128));
        im[i] = (int16_t)(64 * ((int)pattern(i + 256) - 128));
    }
    transform(256);
}

/* The transform of 1, 2, 3, 4 is 10, -2+2i, -2, -2-2i (exact); here 4096 times, over 4 points,
   within what the twiddle factors' last digit does. */
static int vectors(void)
{
    static const int16_t want[4][2] = {{10240, 0}, {-2048, 2048}, {-2048, 0}, {-2048, -2048}};
    int16_t *const re = shared.transform.re, *const im = shared.transform.im;
    int good = 1;
    for (int i = 0; i < 4; i++) {
        re[i] = (int16_t)(4096 * (i + 1));
        im[i] = 0;
    }
    transform(4);
    for (int i = 0; i < 4; i++) {
        int x = re[i] - want[i][0], y = im[i] - want[i][1];
        good &= (x <= 2) & (x >= -2) & (y <= 2) & (y >= -2);
    }
    return good;
}

/* Digest of the output by an independent computation. */
static int result(void)
{
    const int16_t *const re = shared.transform.re, *const im = shared.transform.im;
    uint32_t d = DIGEST_START;
    for (int i = 0; i < 256; i++) d = digest(digest(d, (uint16_t)re[i], 2), (uint16_t)im[i], 2);
    return d == 0xa7c27fd8u;
}

const struct kernel kernel_transform = {"transform", 1, 10, vectors, nothing, unit, result};

#endif
