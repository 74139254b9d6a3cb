"""Keys and detached signatures: Ed25519 (RFC 8032, 5.1), keys as PEM (RFC 8410).

A private key is PKCS #8 and its owner's alone; it is never shown. A public key is a
SubjectPublicKeyInfo. A signature is a file of its own: one line, its 64 bytes in base64.
"""

from __future__ import annotations

import base64
import binascii
import os
import stat
from pathlib import Path
from typing import TYPE_CHECKING

from advisor.faults import Fault, FaultError

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import (
        Ed25519PrivateKey,
        Ed25519PublicKey,
    )

_LARGEST = 16 * 1024  # bytes of a key's file; ours have some hundred
_SIGNATURE = 64  # bytes (RFC 8032, 5.1.6)
PRIVATE, PUBLIC = "a private Ed25519 key as PEM", "a public Ed25519 key as PEM"


def new_pair() -> tuple[bytes, bytes, str]:
    """(private key, public key, fingerprint) of a new pair, the keys as texts of their files."""
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    key = Ed25519PrivateKey.generate()
    private = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    return private, public_text(key.public_key()), fingerprint(key.public_key())


def public_text(key: Ed25519PublicKey) -> bytes:
    """A public key as the text of its file."""
    from cryptography.hazmat.primitives import serialization

    return key.public_bytes(
        serialization.Encoding.PEM, serialization.PublicFormat.SubjectPublicKeyInfo
    )


def fingerprint(key: Ed25519PublicKey) -> str:
    """The SHA-256 of a public key's 32 bytes, by which people compare keys."""
    import hashlib

    return "sha256:" + hashlib.sha256(key.public_bytes_raw()).hexdigest()


def private_key(path: Path, option: str) -> Ed25519PrivateKey:
    """The key in a file that only its owner can read.

    Raises
    ------
    FaultError
        For a file that others may read, or that holds something else; what it holds is not told.
    """
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    data = _read(path, option, private=True)
    try:
        key = serialization.load_pem_private_key(data, None)
    except TypeError:
        raise _refused(option, f'a key under a password, "{path}"', f"{PRIVATE}, plain") from None
    except Exception:
        # the library raises several kinds, and their words may tell of what the file holds
        raise _refused(option, f'something else, "{path}"', PRIVATE) from None
    if not isinstance(key, Ed25519PrivateKey):
        raise _refused(option, f'a key of another kind, "{path}"', PRIVATE)
    return key


def public_key(path: Path, option: str) -> Ed25519PublicKey:
    """The public key in a file.

    Raises
    ------
    FaultError
        For a file that holds something else.
    """
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    data = _read(path, option)
    if b"PRIVATE KEY" in data:
        raise _refused(option, f'a private key, "{path}"', f"{PUBLIC}, which can be given away")
    try:
        key = serialization.load_pem_public_key(data)
    except Exception:
        raise _refused(option, f'something else, "{path}"', PUBLIC) from None
    if not isinstance(key, Ed25519PublicKey):
        raise _refused(option, f'a key of another kind, "{path}"', PUBLIC)
    return key


def _read(path: Path, option: str, *, private: bool = False) -> bytes:
    try:
        descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
    except (OSError, ValueError) as error:
        reason = str(getattr(error, "strerror", None) or "a name that cannot be")
        raise _refused(option, f'{reason}, "{path}"', PRIVATE if private else PUBLIC) from None
    found = os.fstat(descriptor)
    if not stat.S_ISREG(found.st_mode):
        os.close(descriptor)
        raise _refused(option, f'no file, "{path}"', PRIVATE if private else PUBLIC)
    with os.fdopen(descriptor, "rb") as file:
        if private and os.name == "posix" and found.st_mode & 0o077:
            mode = f"{stat.S_IMODE(found.st_mode):04o}"
            read = f'a private key that others may read, "{path}" ({mode})'
            raise _refused(option, read, "one that only its owner may (chmod 600)")
        return file.read(_LARGEST)


def _refused(option: str, read: str, expected: str) -> FaultError:
    return FaultError((Fault(option, read, expected),))


def sign(key: Ed25519PrivateKey, message: bytes) -> bytes:
    """The text of a signature's file."""
    return base64.b64encode(key.sign(message)) + b"\n"


def signature_of(text: bytes, file: str) -> bytes:
    """The signature that a file's text is.

    Raises
    ------
    FaultError
        For a text that is none.
    """
    try:
        found = base64.b64decode(text.strip(), validate=True)
    except (binascii.Error, ValueError):
        found = b""
    if len(found) != _SIGNATURE:
        expected = f"a signature: {_SIGNATURE} bytes in base64, on one line"
        raise FaultError((Fault(file, f"{len(text)} other bytes", expected),))
    return found


def fits(key: Ed25519PublicKey, signature: bytes, message: bytes) -> bool:
    """Whether a signature is that of the key's owner under the message."""
    from cryptography.exceptions import InvalidSignature

    try:
        key.verify(signature, message)
    except InvalidSignature:
        return False
    return True
