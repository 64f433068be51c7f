"""Files kept under the hash of their content, in a folder: the same content is kept once, whatever it was called.

A file is written under a temporary name and then renamed, so that nobody ever finds half of one.
"""

import hashlib
import os
import re
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

_KEY = re.compile(r"[0-9a-f]{64}")
_KEPT, _INCOMING = "kept", "incoming"


class FileStore:
    """A folder of files, each named by the SHA-256 of its content."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def make_folders(self) -> None:
        """Make what is missing, for this user alone."""
        for name in (_KEPT, _INCOMING):
            (self.folder / name).mkdir(parents=True, exist_ok=True, mode=0o700)

    def path(self, key: str) -> Path:
        """Return where a file is. Raises ValueError for what is no key, so that no path comes from elsewhere."""
        if not _KEY.fullmatch(key):
            raise ValueError(f"a key is 64 hexadecimal digits, got {key!r}")
        return self.folder / _KEPT / key[:2] / key

    def has(self, key: str) -> bool:
        """Whether a file is kept."""
        return self.path(key).is_file()

    def read(self, key: str) -> bytes:
        """Return the content of a file. Raises FileNotFoundError."""
        return self.path(key).read_bytes()

    def add(self, data: bytes) -> str:
        """Keep some bytes; return their key."""
        with self.incoming() as (stream, path):
            stream.write(data)
            stream.close()
            return self.keep(path, hashlib.sha256(data).hexdigest())

    @contextmanager
    def incoming(self) -> Iterator[tuple[BinaryIO, Path]]:
        """Offer a new file to write to; it goes away afterwards unless it was kept."""
        handle, name = tempfile.mkstemp(dir=self.folder / _INCOMING)
        path = Path(name)
        try:
            with os.fdopen(handle, "wb") as stream:
                yield stream, path
        finally:
            path.unlink(missing_ok=True)

    def keep(self, path: Path, key: str) -> str:
        """Keep a closed file that came in, under the hash of its content."""
        at = self.path(key)
        at.parent.mkdir(exist_ok=True, mode=0o700)
        with path.open("rb") as stream:
            os.fsync(stream.fileno())
        path.replace(at)
        return key

    def remove(self, key: str) -> None:
        """Forget a file."""
        self.path(key).unlink(missing_ok=True)

    def keys(self) -> list[str]:
        """Return the keys of all that is kept."""
        return [path.name for path in (self.folder / _KEPT).glob("??/*") if _KEY.fullmatch(path.name)]

    def free_bytes(self) -> int:
        """Return how much more the disk holds."""
        return shutil.disk_usage(self.folder).free

    def clear_incoming(self) -> None:
        """Remove what an ended process left half-written; for when no other process writes."""
        for path in (self.folder / _INCOMING).iterdir():
            path.unlink(missing_ok=True)
