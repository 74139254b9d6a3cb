"""Writing files so that nothing of the user's is lost, whenever the run ends.

A file is written beside its place, forced to disk, and renamed over it: at any moment the old one
is there whole or the new one is. Where a new file would not be the same one (it has other names,
another owner, or rights beyond its mode) the old one is written over instead, while the whole of
the new lies beside it: that is not atomic, but a run that dies meanwhile leaves both what it wrote
and its name. What dead runs left behind is told by a lock, which the system lets go with them.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import re
import shutil
import signal
import stat
from collections.abc import Iterator, Mapping
from pathlib import Path

_OWN = re.compile(r"\.part-advisor-[0-9a-f]{16}\.part")
_STREAM = re.compile(r"/(?:dev|proc/self)/fd/([0-9]+)")
_FEW = 16  # files that are forced to disk one by one
_NAMED_STREAMS = {"/dev/stdout": 1, "/dev/stderr": 2}


def is_stream(path: Path) -> bool:
    """Whether a path names what bytes are sent to rather than kept in: a device, a pipe."""
    if descriptor_of(path) is not None:
        return True
    try:
        mode = os.stat(path).st_mode
    except (OSError, ValueError):
        return False
    return not (stat.S_ISREG(mode) or stat.S_ISDIR(mode))


def descriptor_of(path: Path) -> int | None:
    """The number of the open file that a path such as `/dev/stdout` names; None for another."""
    name = os.path.normpath(path)
    found = _STREAM.fullmatch(name)
    return int(found[1]) if found else _NAMED_STREAMS.get(name)


def room_to_open(count: int) -> None:
    """Let this process have so many more files open, as far as the system lets it."""
    try:
        import resource
    except ImportError:
        return
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = count + 256
    if soft != resource.RLIM_INFINITY and soft < wanted:
        most = wanted if hard == resource.RLIM_INFINITY else min(wanted, hard)
        with contextlib.suppress(OSError, ValueError):
            resource.setrlimit(resource.RLIMIT_NOFILE, (max(most, soft), hard))


def send(path: Path, data: bytes) -> None:
    """Send bytes to what `is_stream` calls one.

    Raises
    ------
    OSError
        When it does not take them all.
    """
    own = descriptor_of(path)
    # one's own open file goes on where it is: opened anew it would be written from its start
    descriptor = os.open(path, os.O_WRONLY | os.O_CLOEXEC) if own is None else os.dup(own)
    with os.fdopen(descriptor, "wb") as stream:
        stream.write(data)


def same_file(first: os.stat_result, second: os.stat_result) -> bool:
    """Whether two names lead to one file."""
    return (first.st_dev, first.st_ino) == (second.st_dev, second.st_ino)


class Staged:
    """New content of a file, on disk beside its place and not yet in it.

    Use as a context manager: what was not put in place by its end is gone. A new file is the
    owner's alone where it is `private`. What is `new` takes no other file's place, not even one
    that came meanwhile.

    Raises
    ------
    OSError
        When there is no room, or no right to write there.
    """

    def __init__(
        self, path: Path, data: bytes, *, private: bool = False, new: bool = False
    ) -> None:
        self.new = new
        # what a link leads to is written, the link stays
        self.target = Path(os.path.realpath(path))
        remove_leftovers(self.target.parent)
        try:
            self.old: os.stat_result | None = os.stat(self.target)
        except FileNotFoundError:
            self.old = None
        mode = None if self.old is None else stat.S_IMODE(self.old.st_mode)
        # nobody else reads what replaces a private file, not even meanwhile
        at_first = 0o666 if mode is None and not private else 0o600
        self._file, self._descriptor = _made(self.target.parent, at_first)
        try:
            with open(self._descriptor, "wb", closefd=False) as file:
                file.write(data)
            if mode is not None:
                os.chmod(self._file, mode)
            os.fsync(self._descriptor)
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> Staged:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def put(self) -> None:
        """Put the content in its place.

        Raises
        ------
        OSError
            When that is not possible.
        """
        if self.new and self._linked():
            return
        if self.old is None or _alike(self.old, self.target, self._file):
            try:
                os.replace(self._file, self.target)
            except OSError as error:
                # a file that is mounted by itself keeps its place
                if self.old is None or error.errno not in (errno.EBUSY, errno.EXDEV, errno.EPERM):
                    raise
            else:
                _sync(self.target.parent)
                return
        self._over()

    def _linked(self) -> bool:
        """Give the content its name if that is free; whether the file system can."""
        try:
            os.link(self._file, self.target)
        except FileExistsError:
            raise
        except OSError:
            return False
        _sync(self.target.parent)
        return True

    def _over(self) -> None:
        """Write over the old file; the whole of the new keeps lying beside until that is done."""
        whole = whole_of(self.target)
        if os.path.lexists(whole):
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(whole))
        with open(self.target, "r+b") as file, open(self._file, "rb") as new, _undisturbed():
            # under this name it does not go as a dead run's leftover
            os.rename(self._file, whole)
            _sync(whole.parent)
            try:
                _room(file.fileno(), os.fstat(new.fileno()).st_size)
            except OSError:
                whole.unlink()
                raise
            shutil.copyfileobj(new, file)
            file.truncate()
            file.flush()
            os.fsync(file.fileno())
            whole.unlink()

    def close(self) -> None:
        """Take away what was not put in place."""
        with contextlib.suppress(OSError):
            os.unlink(self._file)
        if self._descriptor >= 0:
            os.close(self._descriptor)
            self._descriptor = -1


def _room(descriptor: int, size: int) -> None:
    """Have room for that many bytes in a file before any is written over; else leave it as it is.

    Raises
    ------
    OSError
        When there is none.
    """
    before = os.fstat(descriptor).st_size
    if size <= before or not hasattr(os, "posix_fallocate"):
        return
    try:
        os.posix_fallocate(descriptor, 0, size)
    except OSError as error:
        os.ftruncate(descriptor, before)
        if error.errno not in (errno.EOPNOTSUPP, errno.EINVAL):
            raise


@contextlib.contextmanager
def _undisturbed() -> Iterator[None]:
    """Let no signal that can wait come between."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    waiting = {signal.SIGINT, signal.SIGTERM, signal.SIGHUP}
    before = signal.pthread_sigmask(signal.SIG_BLOCK, waiting)
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _made(folder: Path, mode: int) -> tuple[Path, int]:
    """A new file of one's own, open for writing and locked."""
    while True:
        path = folder / f".part-advisor-{os.urandom(8).hex()}.part"
        flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
        descriptor = os.open(path, flags, mode)
        # another run may have taken it for a leftover before it was locked
        if _locked(descriptor, wait=True) is None or os.fstat(descriptor).st_nlink:
            return path, descriptor
        os.close(descriptor)


def new_folder(folder: Path, files: Mapping[str, bytes]) -> None:
    """Make a folder with files in it, all of them or nothing; an empty one may be there.

    A name that ends in a slash is a folder inside, which may stay empty.

    Raises
    ------
    OSError
        When that is not possible.
    """
    folder = Path(os.path.realpath(folder))
    remove_leftovers(folder.parent)
    made = folder.parent / f".part-advisor-{os.urandom(8).hex()}.part"
    made.mkdir()
    try:
        descriptor = os.open(made, os.O_RDONLY) if os.name == "posix" else -1
        try:
            _locked(descriptor, wait=True)
            for name, data in files.items():
                if name.endswith("/"):
                    (made / name).mkdir(parents=True, exist_ok=True)
                    continue
                (made / name).parent.mkdir(parents=True, exist_ok=True)
                with open(made / name, "wb") as file:
                    file.write(data)
                    file.flush()
                    os.fsync(file.fileno())
            with contextlib.suppress(FileNotFoundError):
                os.chmod(made, stat.S_IMODE(os.stat(folder).st_mode))
            os.replace(made, folder)
        finally:
            if descriptor >= 0:
                os.close(descriptor)
    except BaseException:
        shutil.rmtree(made, ignore_errors=True)
        raise
    _sync(folder.parent)


class Added:
    """Files that come to a folder together, on disk beside their places and not yet in them.

    Use as a context manager. The folder may be new; a place in it must be free, also when the files
    are put there. Many files are forced to disk by one call for all, which a file each would take
    longer than everything else.

    Parameters
    ----------
    files : path below the folder to content.

    Raises
    ------
    OSError
        When there is no room, or no right to write there.
    """

    def __init__(self, folder: Path, files: Mapping[str, bytes]) -> None:
        self.folder = Path(os.path.realpath(folder))
        self.new = not os.path.lexists(self.folder)
        self._names = tuple(files)
        base = self.folder.parent if self.new else self.folder
        remove_leftovers(base)
        self._made = base / f".part-advisor-{os.urandom(8).hex()}.part"
        self._descriptor = -1
        self._made.mkdir()
        try:
            if os.name == "posix":
                self._descriptor = os.open(self._made, os.O_RDONLY)
                _locked(self._descriptor, wait=True)
            at_once = len(files) > _FEW and hasattr(os, "sync")
            for name, data in files.items():
                (self._made / name).parent.mkdir(parents=True, exist_ok=True)
                with open(self._made / name, "wb") as file:
                    file.write(data)
                    if not at_once:
                        file.flush()
                        os.fsync(file.fileno())
            if at_once:
                os.sync()
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> Added:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def put(self) -> None:
        """Put all files in their places, or none.

        Raises
        ------
        OSError
            When that is not possible, as where a place has been taken meanwhile.
        """
        if self.new:
            os.rename(self._made, self.folder)
            _sync(self.folder.parent)
            return
        placed: list[Path] = []
        folders: list[Path] = []
        try:
            for name in self._names:
                target = self.folder / name
                if not target.parent.is_dir():
                    target.parent.mkdir()
                    folders.append(target.parent)
                _to_free_place(self._made / name, target)
                placed.append(target)
        except BaseException:
            for path in placed:
                path.unlink()
            for path in folders:
                path.rmdir()
            raise
        for path in dict.fromkeys(target.parent for target in placed):
            _sync(path)

    def close(self) -> None:
        """Take away what was not put in place."""
        shutil.rmtree(self._made, ignore_errors=True)
        if self._descriptor >= 0:
            os.close(self._descriptor)
            self._descriptor = -1


def _to_free_place(file: Path, target: Path) -> None:
    """Give a file a name that must be free."""
    try:
        os.link(file, target)
    except FileExistsError:
        raise
    except OSError:
        # a file system without links
        if os.path.lexists(target):
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(target)) from None
        os.rename(file, target)


def _alike(old: os.stat_result, path: Path, new: Path) -> bool:
    """Whether a new file may stand for an old one: no other name, same owner, no further rights."""
    made = os.stat(new)
    if old.st_nlink > 1 or (old.st_uid, old.st_gid) != (made.st_uid, made.st_gid):
        return False
    try:
        return set(os.listxattr(path)) <= set(os.listxattr(new))
    except (AttributeError, OSError):
        return True


def whole_of(target: Path) -> Path:
    """Where the whole of the new content lies while a file, named without links, is written over.

    It is there at no other time, unless a run died meanwhile.
    """
    digest = hashlib.sha256(os.fsencode(target.name)).hexdigest()
    return target.parent / f".part-advisor-{digest[:16]}.whole"


def remove_leftovers(folder: Path) -> None:
    """Remove what runs that were killed left in a folder; those of living runs are locked."""
    try:
        with os.scandir(folder) as entries:
            names = [entry.name for entry in entries if _OWN.fullmatch(entry.name)]
    except OSError:
        return
    for name in names:
        with contextlib.suppress(OSError):
            _remove(folder / name)


def _remove(path: Path) -> None:
    """Remove a file or folder that is one's own and that nobody holds."""
    flags = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
    descriptor = os.open(path, flags)
    try:
        found = os.fstat(descriptor)
        if hasattr(os, "geteuid") and found.st_uid != os.geteuid():
            return
        if _locked(descriptor, wait=False):
            if stat.S_ISDIR(found.st_mode):
                shutil.rmtree(path, ignore_errors=True)
            elif stat.S_ISREG(found.st_mode):
                os.unlink(path)
    finally:
        os.close(descriptor)


def _locked(descriptor: int, *, wait: bool) -> bool | None:
    """Whether an open file could be locked; None where there are no locks."""
    try:
        import fcntl
    except ImportError:
        return None
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
    except BlockingIOError:
        return False
    except OSError:
        return None
    return True


def _sync(folder: Path) -> None:
    """Force a folder's names to disk, where the system lets one."""
    with contextlib.suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
