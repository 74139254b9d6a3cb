"""The files of a pack, in a folder or in an archive, so that nothing hostile is read or written.

What is refused: links, devices, pipes; names that lead elsewhere, that are the same but for their
case, or that other systems take for others; archives that are encrypted, divided, larger than they
say or larger than any catalogue. An archive's entries are told from its central directory alone
(PKWARE APPNOTE 6.3.9, 4.3.12), whose size is known before anything of it is read.
"""

from __future__ import annotations

import hashlib
import io
import os
import re
import stat
import struct
import unicodedata
import zipfile
import zlib
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path, PurePosixPath
from typing import IO

from advisor.dataclass import dataclass, field
from advisor.faults import Fault, FaultError, FaultLog
from advisor.source import LARGEST

MOST_FILES = 20_000
MOST_BYTES = 256 * 1024 * 1024  # of all files together
_MOST_DIRECTORY = 4 * 1024 * 1024  # bytes of an archive's central directory
_CHUNK = 256 * 1024
_END = struct.Struct("<4s4H2LH")  # 4.3.16: end of central directory record
_PART = re.compile(r"[A-Za-z0-9_+()@%,~][A-Za-z0-9 ._+()@%,~-]*")
# what another system takes for a device, whatever follows its dot (from memory)
_DEVICES = re.compile(r"(?:con|prn|aux|nul|com[0-9]|lpt[0-9])(?:\..*)?", re.IGNORECASE)


def why_unsafe(name: str) -> str | None:
    """Why a path may not stand in a pack; None for a plain one, relative, with `/`."""
    if not name or len(name) > 200:
        return "a name that is empty or too long"
    if re.match(r"[A-Za-z][A-Za-z0-9+.-]*:", name):
        return "an address or a drive"
    if name.startswith(("/", "\\", "~")):
        return "an absolute path"
    parts = name.split("/")
    if ".." in parts:
        return "a path that leads out"
    for part in parts:
        if part.startswith("."):
            return "a hidden name"
        if not _PART.fullmatch(part) or part.endswith((".", " ")) or _DEVICES.fullmatch(part):
            return "a name that is not the same on every system"
    return None


def twin_of(name: str) -> str:
    """What two names share that some file system takes for one."""
    return unicodedata.normalize("NFC", name).casefold()


def unsafe(names: list[str]) -> Iterator[tuple[str, str]]:
    """(name, why) of paths that may not stand in a pack, or not beside those before them."""
    seen: dict[str, str] = {}
    folders: dict[str, str] = {}
    for name in names:
        why = why_unsafe(name)
        twin = twin_of(name)
        if why is None and twin in seen:
            other = seen[twin]
            why = "a name twice" if other == name else f'the same as "{other}" but for its case'
        above = [str(p) for p in PurePosixPath(name).parents][:-1] if why is None else []
        if why is None and (twin in folders or any(twin_of(p) in seen for p in above)):
            why = "a file and a folder of one name"
        other = next((p for p in above if folders.get(twin_of(p), p) != p), "")
        if why is None and other:
            why = f'in a folder that is the same as "{folders[twin_of(other)]}" but for its case'
        if why is None:
            seen[twin] = name
            folders.update((twin_of(p), p) for p in above)
        else:
            yield name, why


@dataclass(frozen=True, slots=True)
class Pack:
    """The files of a pack: path in it to bytes, and how each is opened; `shown` is its name."""

    shown: str
    sizes: Mapping[str, int]
    _open: Callable[[str], IO[bytes]] = field(repr=False)

    def chunks(self, name: str) -> Iterator[bytes]:
        """The bytes of a file, some at a time; never more than it is said to have.

        Raises
        ------
        FaultError
            When it cannot be read, or is larger or smaller than it was.
        """
        left = self.sizes[name]
        try:
            with self._open(name) as file:
                while chunk := file.read(min(_CHUNK, left + 1)):
                    left -= len(chunk)
                    if left < 0:
                        break
                    yield chunk
        except (OSError, zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError) as error:
            reason = getattr(error, "strerror", None) or "damaged, or changed while it was read"
            raise _refused(self.shown, f'"{name}": {reason}') from None
        if left:
            raise _refused(self.shown, f'"{name}", of another size than it is said to have')

    def read(self, name: str) -> bytes:
        """The bytes of a file of at most 4 MiB.

        Raises
        ------
        FaultError
            As for `chunks`, and for a larger one.
        """
        if self.sizes[name] > LARGEST:
            size = f"{self.sizes[name] / 1024 / 1024:.1f} MiB"
            raise _refused(self.shown, f'"{name}", {size}', "at most 4 MiB")
        return b"".join(self.chunks(name))

    def digest(self, name: str) -> str:
        """`sha256:` and the digest of a file."""
        found = hashlib.sha256()
        for chunk in self.chunks(name):
            found.update(chunk)
        return "sha256:" + found.hexdigest()


def _refused(shown: str, read: str, expected: str = "a pack that can be read") -> FaultError:
    return FaultError((Fault(shown, read, expected),))


def _bounded(shown: str, sizes: Mapping[str, int], log: FaultLog) -> None:
    if len(sizes) > MOST_FILES:
        log.add(Fault(shown, f"{len(sizes)} files", f"at most {MOST_FILES}"))
    if sum(sizes.values()) > MOST_BYTES:
        size = f"{sum(sizes.values()) / 1024 / 1024:.0f} MiB"
        log.add(Fault(shown, f"{size} when unpacked", f"at most {MOST_BYTES // 1024 // 1024} MiB"))


def overlaid(pack: Pack, files: Mapping[str, bytes]) -> Pack:
    """The pack with files put into it or over others."""
    sizes = {**pack.sizes, **{name: len(data) for name, data in files.items()}}

    def open_(name: str) -> IO[bytes]:
        return io.BytesIO(files[name]) if name in files else pack._open(name)

    return Pack(pack.shown, dict(sorted(sizes.items())), open_)


@contextmanager
def opened(path: Path) -> Iterator[Pack]:
    """The files of a folder or of an archive.

    Raises
    ------
    FaultError
        With everything that is refused of it.
    """
    if os.path.isdir(path):
        yield folder(path)
        return
    with _archive(path) as found:
        yield found


def folder(path: Path) -> Pack:
    """The files of a folder, but for what the catalogue's reader passes over: `.` and `_` names.

    Raises
    ------
    FaultError
        For links and whatever else is no file, and for names that may not stand in a pack.
    """
    log = FaultLog()
    sizes: dict[str, int] = {}

    def look(inside: str, deep: int) -> None:
        try:
            with os.scandir(os.path.join(path, inside)) as entries:
                found = sorted(entries, key=lambda e: e.name)
        except OSError as error:
            log.add(Fault(str(path / inside), str(error.strerror), "a folder that can be read"))
            return
        for entry in found:
            name = f"{inside}/{entry.name}" if inside else entry.name
            if entry.name.startswith(".") or (not inside and entry.name.startswith("_")):
                continue
            there = entry.stat(follow_symlinks=False)
            if stat.S_ISDIR(there.st_mode) and deep < 8 and len(sizes) <= MOST_FILES:
                look(name, deep + 1)
            elif stat.S_ISREG(there.st_mode):
                sizes[name] = there.st_size
            else:
                what = "a link" if stat.S_ISLNK(there.st_mode) else "neither file nor folder"
                what = "folders too deep" if stat.S_ISDIR(there.st_mode) else what
                log.add(Fault(str(path / name), what, "a file of the pack's own"))

    look("", 0)
    for name, why in unsafe(list(sizes)):
        log.add(Fault(str(path / name), why, "a plain name"))
    _bounded(str(path), sizes, log)
    log.raise_if_any()
    return Pack(str(path), sizes, lambda name: _plain_file(path / name))


def _plain_file(path: Path) -> IO[bytes]:
    """A file opened so that neither a link nor a pipe that came meanwhile is."""
    flags = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
    descriptor = os.open(path, flags | getattr(os, "O_BINARY", 0))
    if not stat.S_ISREG(os.fstat(descriptor).st_mode):
        os.close(descriptor)
        raise OSError(0, "no file", str(path))
    return os.fdopen(descriptor, "rb")


@contextmanager
def _archive(path: Path) -> Iterator[Pack]:
    shown = str(path)
    try:
        flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
        descriptor = os.open(path, flags)
    except (OSError, ValueError) as error:
        reason = str(getattr(error, "strerror", None) or "a name that cannot be")
        raise _refused(shown, reason, "a folder or a ZIP archive") from None
    if not stat.S_ISREG(os.fstat(descriptor).st_mode):
        os.close(descriptor)
        raise _refused(shown, "neither file nor folder", "a folder or a ZIP archive")
    with os.fdopen(descriptor, "rb") as file:
        yield in_archive(file, shown)


def in_archive(file: IO[bytes], shown: str) -> Pack:
    """The files of an open archive.

    Raises
    ------
    FaultError
        With everything that is refused of it.
    """
    _directory_bounded(file, shown)
    try:
        found = zipfile.ZipFile(file)
        entries = _entries(found, shown)
    except (zipfile.BadZipFile, NotImplementedError, ValueError, struct.error, OverflowError):
        raise _refused(shown, "a damaged archive", "a ZIP archive") from None
    sizes = {name: info.file_size for name, info in entries.items()}
    return Pack(shown, sizes, lambda name: found.open(entries[name]))


def _directory_bounded(file: IO[bytes], shown: str) -> None:
    """Hold an archive to one directory, at its very end, of a size that can be read.

    Raises
    ------
    FaultError
        For one that is divided, has something before, between or behind, or is too large.
    """
    size = file.seek(0, os.SEEK_END)
    if size > MOST_BYTES + 2 * _MOST_DIRECTORY:
        raise _refused(shown, f"{size / 1024 / 1024:.0f} MiB", "a ZIP archive of a catalogue")
    file.seek(max(0, size - _END.size))
    last = file.read(_END.size)
    if len(last) < _END.size or not last.startswith(b"PK\x05\x06"):
        raise _refused(shown, "no directory at its end", "a ZIP archive, without a comment")
    _, disk, first, here, total, long, start, comment = _END.unpack(last)
    if (disk, first, comment) != (0, 0, 0) or here != total or 0xFFFF in (here, total):
        raise _refused(shown, "a divided or 64-bit archive", "a plain ZIP archive")
    if long > _MOST_DIRECTORY or total > MOST_FILES:
        raise _refused(shown, f"{total} files", f"at most {MOST_FILES}")
    if start + long + _END.size != size:
        raise _refused(shown, "bytes that no directory tells of", "a plain ZIP archive")


def _entries(found: zipfile.ZipFile, shown: str) -> dict[str, zipfile.ZipInfo]:
    """The files of an archive by name; folders are passed over."""
    log = FaultLog()
    entries: dict[str, zipfile.ZipInfo] = {}
    names: list[str] = []
    for info in found.infolist():
        name = info.orig_filename
        mode = info.external_attr >> 16
        why = None
        if name.endswith("/") and not info.file_size:
            why = why_unsafe(name[:-1])
            if why is None:
                continue
        elif info.flag_bits & 0x1:
            why = "encrypted"
        elif info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            why = "packed in a way that is not read here"
        elif stat.S_IFMT(mode) not in (0, stat.S_IFREG):
            why = "a link" if stat.S_ISLNK(mode) else "neither file nor folder"
        elif info.file_size > max(LARGEST, 1100 * info.compress_size):
            # deflate itself makes no more of a byte (from memory: 1032)
            why = "larger than its packed bytes could tell"
        names.append(name)
        if why is not None:
            log.add(Fault(shown, f'"{name}": {why}', "a plain file"))
        entries[name] = info
    for name, why in unsafe(names):
        log.add(Fault(shown, f'"{name}": {why}', "a plain name"))
    _bounded(shown, {name: info.file_size for name, info in entries.items()}, log)
    log.raise_if_any()
    return entries


def digest_of(data: bytes) -> str:
    """`sha256:` and the digest of bytes."""
    return "sha256:" + hashlib.sha256(data).hexdigest()


def archive(files: Mapping[str, bytes]) -> bytes:
    """A ZIP archive of files: the same bytes for the same files, whoever makes it, and when.

    Files are stored, in order of name, with the format's first day: how a library deflates differs
    from one version to the next.
    """
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as made:
        for name in sorted(files):
            info = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
            info.create_system = 3
            info.external_attr = (stat.S_IFREG | 0o644) << 16
            made.writestr(info, files[name])
    return out.getvalue()
