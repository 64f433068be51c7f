"""One service to a data folder: two would take each other's jobs for lost."""

from pathlib import Path

from filelock import FileLock, Timeout

from service.errors import InputError

_FILE = "in_use"


class FolderLock:
    """Holds a data folder until it is released, or its process ends.

    Raises InputError where another process holds it, OSError where the folder cannot be written.
    """

    def __init__(self, folder: Path) -> None:
        self._lock = FileLock(folder / _FILE, mode=0o600, thread_local=False)
        try:
            self._lock.acquire(blocking=False)
        except Timeout:
            raise InputError(
                f"another service uses {folder}; stop it, or give this one a folder of its own (--data)"
            ) from None

    def release(self) -> None:
        """Let the folder go."""
        self._lock.release()
