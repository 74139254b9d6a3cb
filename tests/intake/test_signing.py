"""Keys and signatures: RFC 8032's vectors, other tools' keys, and keys that others may read."""

from __future__ import annotations

import base64
import os
import shutil
import subprocess
from pathlib import Path

import pytest
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from advisor.faults import FaultError
from advisor.intake import signing

# RFC 8032, 7.1, tests 1 to 3: secret key, public key, message, signature
VECTORS = [
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555"
        "fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da0"
        "85ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac1"
        "8ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
    ),
]


def pem(
    key: Ed25519PrivateKey | ec.EllipticCurvePrivateKey, password: bytes | None = None
) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.BestAvailableEncryption(password)
        if password
        else serialization.NoEncryption(),
    )


def put(path: Path, data: bytes, mode: int = 0o600) -> Path:
    path.write_bytes(data)
    path.chmod(mode)
    return path


@pytest.mark.parametrize(("secret", "public", "message", "signature"), VECTORS)
def test_published_vectors(
    secret: str, public: str, message: str, signature: str, tmp_path: Path
) -> None:
    """RFC 8032, 7.1, from the files of the keys to the file of the signature."""
    key = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))
    read = signing.private_key(put(tmp_path / "k", pem(key)), "--sign")
    text = signing.sign(read, bytes.fromhex(message))
    assert base64.b64decode(text).hex() == signature
    shared = put(tmp_path / "k.pub", signing.public_text(read.public_key()))
    other = signing.public_key(shared, "--key")
    assert other.public_bytes_raw().hex() == public
    found = signing.signature_of(text, "s")
    assert signing.fits(other, found, bytes.fromhex(message))
    assert not signing.fits(other, found, bytes.fromhex(message) + b"\0")
    for n in range(64):
        changed = bytearray(found)
        changed[n] ^= 1
        assert not signing.fits(other, bytes(changed), bytes.fromhex(message))


def test_a_signature_is_not_malleable() -> None:
    """RFC 8032, 5.1.7: its second half is below the group's order L, or it is none."""
    order = 2**252 + 27742317777372353535851937790883648493
    _, public, message, signature = VECTORS[1]
    whole = bytes.fromhex(signature)
    more = int.from_bytes(whole[32:], "little") + order
    other = whole[:32] + more.to_bytes(32, "little")
    raw = bytes.fromhex(public)
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    key = Ed25519PublicKey.from_public_bytes(raw)
    assert signing.fits(key, whole, bytes.fromhex(message))
    assert not signing.fits(key, other, bytes.fromhex(message))


@pytest.mark.skipif(shutil.which("openssl") is None, reason="another tool for keys is not here")
def test_another_tool_takes_the_keys(tmp_path: Path) -> None:
    private, public, _ = signing.new_pair()
    put(tmp_path / "k", private)
    done = subprocess.run(
        ["openssl", "pkey", "-in", "k", "-pubout"], cwd=tmp_path, capture_output=True, check=True
    )
    assert done.stdout == public
    put(tmp_path / "k.pub", public)
    text = signing.sign(signing.private_key(tmp_path / "k", "--sign"), b"a message")
    put(tmp_path / "s", base64.b64decode(text))
    put(tmp_path / "m", b"a message")
    verify = [
        "pkeyutl",
        "-verify",
        "-pubin",
        "-inkey",
        "k.pub",
        "-rawin",
        "-in",
        "m",
        "-sigfile",
        "s",
    ]
    subprocess.run(["openssl", *verify], cwd=tmp_path, capture_output=True, check=True)


def test_what_is_no_private_key(tmp_path: Path) -> None:
    own, public, _ = signing.new_pair()
    key = Ed25519PrivateKey.generate()
    for data, said in (
        (public, "something else"),
        (pem(key, b"word"), "under a password"),
        (pem(ec.generate_private_key(ec.SECP256R1())), "another kind"),
        (own[:60], "something else"),
        (b"", "something else"),
        (b"\0" * 100_000, "something else"),
    ):
        with pytest.raises(FaultError) as error:
            signing.private_key(put(tmp_path / "k", data), "--sign")
        assert said in str(error.value)
        # nothing of what a file holds is told
        for line in own.splitlines()[1:-1]:
            assert line.decode() not in str(error.value)


def test_what_is_no_public_key(tmp_path: Path) -> None:
    private, public, _ = signing.new_pair()
    for data, said in ((private, "a private key"), (public[:40], "something else"), (b"", "else")):
        with pytest.raises(FaultError) as error:
            signing.public_key(put(tmp_path / "k", data), "--key")
        assert said in str(error.value)
        assert private.splitlines()[1].decode() not in str(error.value)


@pytest.mark.parametrize("mode", [0o644, 0o640, 0o604, 0o620])
def test_a_private_key_that_others_may_read_is_refused(mode: int, tmp_path: Path) -> None:
    path = put(tmp_path / "k", signing.new_pair()[0], mode)
    with pytest.raises(FaultError, match="others may read"):
        signing.private_key(path, "--sign")


def test_a_pipe_is_no_key(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "k", 0o600)
    for read in (signing.private_key, signing.public_key):
        with pytest.raises(FaultError, match="no file"):
            read(tmp_path / "k", "--key")
        with pytest.raises(FaultError, match="No such file"):
            read(tmp_path / "none", "--key")
        with pytest.raises(FaultError):
            read(tmp_path, "--key")


@pytest.mark.parametrize("text", [b"", b"AAAA\n", b"\xff" * 88, b"A" * 88 + b"!", b"A" * 200])
def test_what_is_no_signature(text: bytes) -> None:
    with pytest.raises(FaultError, match="64 bytes in base64"):
        signing.signature_of(text, "s")
