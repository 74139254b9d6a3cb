"""One document out of a zip of others: nothing is unpacked, whatever the archive claims."""

from __future__ import annotations

import re
import struct
import zipfile
import zlib
from pathlib import Path
from typing import IO

from advisor.faults import Fault, FaultError, Place
from advisor.source import open_file

MOST_NAMES = 32 * 1024 * 1024  # bytes of the directory of names
_END = b"PK\x05\x06"
_LOCATOR_64 = b"PK\x06\x07"
_END_SIZE, _LONGEST_COMMENT, _LOCATOR_SIZE = 22, 65_535, 20
_OUTSIDE = re.compile(r"(?:^|/)\.\.(?:/|$)|^/|^[A-Za-z]:|\\|\0")
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)


def only_document(path: Path, ending: str, most: int) -> tuple[str, bytes]:
    """(name, bytes) of the one file of that ending at the top of a zip.

    Parameters
    ----------
    most : bytes that it may have.

    Raises
    ------
    FaultError
        When it is no sound zip, a name in it leads out of it, there is none or several, or it is
        larger than it may be, whatever size is stated.
    """
    shown = str(path)
    try:
        with open_file(path, shown, "a pack") as handle:
            _check_directory(handle, shown)
            with zipfile.ZipFile(handle) as archive:
                found = _member(archive, ending, most, shown)
                with archive.open(found) as member:
                    data = member.read(most + 1)
    except (
        *(zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, struct.error, EOFError),
        *(NotImplementedError, RuntimeError, ValueError, OverflowError, MemoryError),
    ) as error:
        raise _refused(shown, f"a damaged zip ({error})", "a pack, which is a zip") from None
    if len(data) > most:
        raise _too_large(shown, found.filename, most)
    return found.filename, data


def _check_directory(file: IO[bytes], shown: str) -> None:
    """Refuse a directory too long to be read before the library reads it whole."""
    file.seek(0, 2)
    size = file.tell()
    start = max(0, size - _END_SIZE - _LONGEST_COMMENT - _LOCATOR_SIZE)
    file.seek(start)
    tail = file.read()
    at = tail.rfind(_END)
    if at < 0 or len(tail) - at < _END_SIZE:
        raise _refused(shown, "no zip", "a pack, which is a zip")
    if tail[max(0, at - _LOCATOR_SIZE) : at][:4] == _LOCATOR_64:
        raise _refused(shown, "a zip of the 64-bit form", "a zip of the plain form")
    (length,) = struct.unpack_from("<L", tail, at + 12)
    if length > MOST_NAMES:
        read = f"a directory of names of {length / 1024 / 1024:.0f} MiB"
        raise _refused(shown, read, f"at most {MOST_NAMES // 1024 // 1024} MiB")
    file.seek(0)


def _member(archive: zipfile.ZipFile, ending: str, most: int, shown: str) -> zipfile.ZipInfo:
    faults = []
    found = []
    for info in archive.infolist():
        name = info.orig_filename
        if _OUTSIDE.search(name):
            read = f'the name "{name}"'
            faults.append(_fault(shown, read, "names inside the pack"))
        elif name.lower().endswith(ending) and "/" not in name:
            found.append(info)
        if len(faults) >= 20:
            break
    if len(found) != 1 and not faults:
        names = ", ".join(f'"{info.filename}"' for info in found[:5]) or "none"
        faults.append(_fault(shown, names, f"one file *{ending} at the top of the zip"))
    if faults:
        raise FaultError(faults)
    (info,) = found
    if info.flag_bits & 0x1:
        raise _refused(shown, f'"{info.filename}", encrypted', "a file that can be read")
    if info.compress_type not in _METHODS:
        read = f'"{info.filename}", compressed by method {info.compress_type}'
        raise _refused(shown, read, "a file that is stored or deflated")
    if info.file_size > most:
        raise _too_large(shown, info.filename, most)
    return info


def _too_large(shown: str, name: str, most: int) -> FaultError:
    mega = most // 1024 // 1024
    return _refused(shown, f'"{name}" of more than {mega} MiB', f"at most {mega} MiB unpacked")


def _fault(shown: str, read: str, expected: str) -> Fault:
    return Fault("file", read, expected, Place(shown, 1, 1))


def _refused(shown: str, read: str, expected: str) -> FaultError:
    return FaultError((_fault(shown, read, expected),))
