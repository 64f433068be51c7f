"""Files kept under the hash of their content, in a folder: the same content is kept once, whatever it was called.

A file is written under a temporary name and then renamed, so that nobody ever finds half of one. Whoever keeps or
removes one holds the lock for as long as files and records may differ: see `service.named_files`.
"""

import hashlib
import os
import re
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from filelock import FileLock

from service.contract.refusals import DiskFullError, NotFoundError

_KEY = re.compile(r"[0-9a-f]{64}")
_KEPT, _INCOMING, _LOCK, _DATABASE = "kept", "incoming", "lock", "database"
_DAY_SECONDS = 86400.0


def no_room(why: str) -> DiskFullError:
    """Return the error of a full disk."""
    return DiskFullError(f"there is no room for the file on the service's disk ({why})")


@contextmanager
def writing_to_disk() -> Iterator[None]:
    """Turn the system's word that something cannot be written into DiskFullError."""
    try:
        yield
    except DiskFullError:
        raise
    except OSError as error:
        raise no_room(error.strerror or str(error)) from None


def sync(path: Path) -> None:
    """See that a file's content, or the names in a folder, outlast a power cut. Raises OSError."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


class FileStore:
    """A folder of files, each named by the SHA-256 of its content."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def make_folders(self) -> None:
        """Make what is missing, for this user alone. Raises OSError."""
        for folder in (self.folder, self.folder / _KEPT, self.folder / _INCOMING):
            folder.mkdir(parents=True, exist_ok=True, mode=0o700)

    @contextmanager
    def lock(self) -> Iterator[None]:
        """Hold off every thread and process that would keep or remove a file meanwhile. Raises DiskFullError."""
        # One object for each use: one that is shared would let a second thread of this process in.
        held = FileLock(self.folder / _LOCK, mode=0o600, poll_interval=0.01)
        with writing_to_disk():
            held.acquire()
        try:
            yield
        finally:
            held.release()

    def path(self, key: str) -> Path:
        """Return where a file is. Raises ValueError for what is no key, so that no path comes from elsewhere."""
        if not _KEY.fullmatch(key):
            raise ValueError(f"a key is 64 hexadecimal digits, got {key!r}")
        return self.folder / _KEPT / key[:2] / key

    def has(self, key: str) -> bool:
        """Whether a file is kept."""
        return self.path(key).is_file()

    def read(self, key: str) -> bytes:
        """Return the content of a file. Raises NotFoundError."""
        try:
            return self.path(key).read_bytes()
        except FileNotFoundError:
            raise NotFoundError("the log's file is gone; upload it again") from None

    def add(self, data: bytes) -> str:
        """Keep some bytes; return their key. Raises DiskFullError."""
        with self.incoming() as (stream, path):
            return self.keep(path, self.write(stream, data))

    def write(self, stream: BinaryIO, data: bytes) -> str:
        """Write a whole file that comes in; return its key. Raises DiskFullError."""
        with writing_to_disk():
            stream.write(data)
        self.close(stream)
        return hashlib.sha256(data).hexdigest()

    @staticmethod
    def close(stream: BinaryIO) -> None:
        """End a file that comes in, once it is on the disk. Raises DiskFullError."""
        with writing_to_disk():
            stream.flush()
            os.fsync(stream.fileno())
            stream.close()

    @contextmanager
    def incoming(self) -> Iterator[tuple[BinaryIO, Path]]:
        """Offer a new file to write to; it goes away afterwards unless it was kept. Raises DiskFullError."""
        with writing_to_disk():
            handle, name = tempfile.mkstemp(dir=self.folder / _INCOMING)
        path = Path(name)
        stream = os.fdopen(handle, "wb")
        try:
            yield stream, path
        finally:
            path.unlink(missing_ok=True)
            # On a full disk closing fails once more, for a file that nobody needs by now.
            with suppress(OSError):
                stream.close()

    def keep(self, path: Path, key: str) -> str:
        """Keep a closed file that came in, under the hash of its content. Raises DiskFullError."""
        at = self.path(key)
        with writing_to_disk():
            if not at.parent.is_dir():
                at.parent.mkdir(exist_ok=True, mode=0o700)
                sync(at.parent.parent)
            path.replace(at)
            sync(at.parent)
        return key

    def remove(self, key: str) -> None:
        """Forget a file."""
        self.path(key).unlink(missing_ok=True)

    def move(self, key: str, folder: Path) -> None:
        """Move a file out of the store, to a folder on the same disk. Raises OSError."""
        self.path(key).rename(folder / key)

    @contextmanager
    def linked(self) -> Iterator[Path]:
        """Offer a folder within the store, where files that are being copied can be held by a second name."""
        with writing_to_disk():
            name = tempfile.mkdtemp(dir=self.folder / _INCOMING)
        try:
            yield Path(name)
        finally:
            shutil.rmtree(name, ignore_errors=True)

    def keys(self) -> list[str]:
        """Return the keys of all that is kept."""
        return [path.name for path in (self.folder / _KEPT).glob("??/*") if _KEY.fullmatch(path.name)]

    def database(self) -> str | None:
        """Return the name of the database whose logs these are the files of; None where none is noted."""
        noted = self.folder / _DATABASE
        return noted.read_text("ascii", "replace").strip() if noted.is_file() else None

    def note_database(self, name: str) -> None:
        """Note whose files these are. Raises OSError."""
        if name == self.database():
            return
        with self.incoming() as (stream, path):
            self.write(stream, f"{name}\n".encode())
            path.replace(self.folder / _DATABASE)
        sync(self.folder)

    def free_bytes(self) -> int:
        """Return how much more the disk holds."""
        return shutil.disk_usage(self.folder).free

    def clear_incoming(self, *, others_may_write: bool) -> None:
        """Remove what ended processes left half-written. Raises OSError.

        Nobody relies on it: whoever sends a file is told that it was taken only once it is kept, and a worker's job
        begins anew. others_may_write : whether what is younger than a day may be somebody's at work still, as the
        second names of a backup always may.
        """
        for path in (self.folder / _INCOMING).iterdir():
            is_old = time.time() - path.stat().st_mtime > _DAY_SECONDS
            if path.is_dir():
                if is_old:
                    shutil.rmtree(path)
            elif is_old or not others_may_write:
                path.unlink(missing_ok=True)
