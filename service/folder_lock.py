"""One service to a data folder: two would take each other's jobs for lost."""

from pathlib import Path
from typing import TextIO

from service.errors import InputError

_FILE = "in_use"


class FolderLock:
    """Holds a data folder until it is released, or its process ends. Raises InputError where another holds it."""

    def __init__(self, folder: Path) -> None:
        self._stream: TextIO = (folder / _FILE).open("w")
        try:
            import fcntl  # noqa: PLC0415 - not on every system
        except ImportError:
            return
        try:
            fcntl.flock(self._stream, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            self._stream.close()
            raise InputError(
                f"another service uses {folder}; stop it, or give this one a folder of its own (--data)"
            ) from None

    def release(self) -> None:
        """Let the folder go."""
        self._stream.close()
