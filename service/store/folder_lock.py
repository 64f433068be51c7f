"""One service to a data folder: two would take each other's jobs for lost."""

from pathlib import Path

from filelock import FileLock, Timeout

from scans.messages import named
from service.typed.errors import InputError

_FILE = "in_use"


class FolderLock:
    """Holds a data folder until it is released, or its process ends, however it does.

    The system itself lets a lock go with its process, so that a file that was left says nothing.

    Raises InputError where another process holds it, or where the folder cannot be written to.
    """

    def __init__(self, folder: Path) -> None:
        # It is released by whichever thread closes the desk.
        self._lock = FileLock(folder / _FILE, mode=0o600, thread_local=False)
        try:
            self._lock.acquire(blocking=False)
        except Timeout:
            raise InputError(
                f"another service uses {folder}; stop it, or give this one a folder of its own ({named('data')})"
            ) from None
        except OSError as error:
            raise InputError(
                f"{folder} cannot be written to: {error.strerror or error}; give a folder of your own ({named('data')})"
            ) from None

    def release(self) -> None:
        """Let the folder go."""
        self._lock.release()
