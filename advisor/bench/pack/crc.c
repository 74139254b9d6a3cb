/* CRC-32, bit by bit, reflected. One unit: 1 KiB. */
#include "kernels.h"

#ifdef KERNEL_CRC
static uint32_t crc(uint32_t polynomial, const uint8_t *p, uint32_t n)
{
    uint32_t c = 0xffffffffu;
    while (n--) {
        c ^= *p++;
        for (int i = 0; i < 8; i++) c = c & 1u ? c >> 1 ^ polynomial : c >> 1;
    }
    return ~c;
}

static void prepare(void)
{
    for (uint32_t i = 0; i < 1024; i++) shared.crc.data[i] = pattern(i);
}

static void unit(void) { shared.crc.out = crc(0xedb88320u, shared.crc.data, 1024); }

/* The CRC catalogue's check values over "123456789": CRC-32 and CRC-32C. */
static int vectors(void)
{
    static const uint8_t digits[10] = "123456789";
    return (crc(0xedb88320u, digits, 9) == 0xcbf43926u) &
           (crc(0x82f63b78u, digits, 9) == 0xe3069283u);
}

/* CRC-32 of the pattern by an independent library. */
static int result(void) { return shared.crc.out == 0x65e60776u; }

const struct kernel kernel_crc = {"crc", 1, 40, vectors, prepare, unit, result};

#endif
