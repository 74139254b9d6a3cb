"""What the kernels must give, by code that shares nothing with them.

Hash, CRC and cipher by general-purpose libraries; filter, transform, matrix, copy and control by
NumPy on whole arrays, from the statement of the work alone.
"""

from __future__ import annotations

import hashlib
import zlib
from functools import reduce

import numpy as np
from cryptography.hazmat.primitives.ciphers import Cipher, algorithms, modes
from numpy.typing import NDArray

Ints = NDArray[np.int64]


def pattern(first: int, count: int) -> Ints:
    """Bytes of the pattern that inputs are filled with."""
    k = np.arange(first, first + count, dtype=np.int64)
    return (k * 167 + (k >> 8) * 29 + 13) & 0xFF


def digest(values: Ints, size: int) -> int:
    """FNV-1a, 32 bits, over the low `size` bytes of each value, least significant first."""
    data = b"".join((int(v) & (256**size - 1)).to_bytes(size, "little") for v in values)
    return reduce(lambda h, b: (h ^ b) * 16777619 & 0xFFFFFFFF, data, 2166136261)


def hashed() -> bytes:
    """SHA-256 of the kernel's KiB."""
    return hashlib.sha256(bytes(pattern(0, 1024).astype(np.uint8))).digest()


def enciphered() -> int:
    """Digest of the KiB enciphered block by block with AES-128."""
    cipher = Cipher(algorithms.AES128(bytes(range(16))), modes.ECB()).encryptor()
    out = cipher.update(bytes(pattern(0, 1024).astype(np.uint8)))
    return digest(np.frombuffer(out, dtype=np.uint8).astype(np.int64), 1)


def checked() -> int:
    """CRC-32 of the KiB."""
    return zlib.crc32(bytes(pattern(0, 1024).astype(np.uint8)))


def taps() -> Ints:
    """A low-pass at a quarter of the sampling rate: 32 taps, Hamming window, unit gain in Q15."""
    k = np.arange(32) - 15.5
    h = 0.5 * np.sinc(k / 2) * np.hamming(32)
    found: Ints = np.rint(32767 * h / h.sum()).astype(np.int64)
    return found


def filtered() -> Ints:
    """The 256 outputs of the filter."""
    raw = pattern(0, 2 * 287)
    x = (raw[0::2] | raw[1::2] << 8) - 32768
    out: Ints = np.clip((np.convolve(x, taps())[31:287] + 0x4000) >> 15, -32768, 32767)
    return out


def transform_input() -> NDArray[np.complex128]:
    """The 256 points that are transformed."""
    return 128.0 * (pattern(0, 256) - 128) + 64j * (pattern(256, 256) - 128)


def transformed() -> tuple[Ints, Ints]:
    """Real and imaginary parts of the transform in Q15, halved at each of the 8 stages.

    The recursive form over whole halves, where the kernel works in place.
    """
    angle = 2 * np.pi * np.arange(128) / 256
    turn_re = np.rint(32767 * np.cos(angle)).astype(np.int64)
    turn_im = np.rint(-32767 * np.sin(angle)).astype(np.int64)

    def split(re: Ints, im: Ints) -> tuple[Ints, Ints]:
        n = len(re)
        if n == 1:
            return re, im
        even, odd = split(re[0::2], im[0::2]), split(re[1::2], im[1::2])
        c, s = turn_re[:: 256 // n], turn_im[:: 256 // n]
        x = (c * odd[0] - s * odd[1] + 0x4000) >> 15
        y = (c * odd[1] + s * odd[0] + 0x4000) >> 15
        return (
            np.concatenate(((even[0] + x) >> 1, (even[0] - x) >> 1)),
            np.concatenate(((even[1] + y) >> 1, (even[1] - y) >> 1)),
        )

    points = transform_input()
    return split(points.real.astype(np.int64), points.imag.astype(np.int64))


def multiplied() -> Ints:
    """The 64 entries of the product, times 256."""
    a, b = ((pattern(k, 64).reshape(8, 8) - 128) for k in (0, 64))
    return (a @ b).ravel()


def copied() -> Ints:
    """The 256 words after 16 passes."""
    raw = pattern(0, 1024).reshape(256, 4)
    words = raw @ (256 ** np.arange(4))
    for k in range(16):
        words = words[(k + (2 * k + 3) * np.arange(256)) % 256]
    return words


def controlled() -> Ints:
    """The plant's 256 values under the controller."""

    def times(a: int, b: int) -> int:
        return ((a >> 6) * b) >> 6

    plant = total = 0
    path = []
    for wanted in np.repeat([65536, -98304, 98304, 16384], 64):
        error = int(wanted) - plant
        drive = times(error, 6144) + total
        if abs(drive) > 131072:
            drive = 131072 if drive > 0 else -131072
        else:
            total += times(error, 410)
        plant += times(drive - plant, 512)
        path.append(plant)
    return np.array(path)
