"""Files and the records that name them, changed together: no file goes that a record names, and none stays unnamed.

A record is committed in the database, a file is renamed or removed in a folder, and no transaction spans both. So
whoever changes which files are named holds the file store's lock from before the one until after the other, in
whatever thread or process: in between, the same content may come in again.
"""

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from service.store.file_store import FileStore
from service.store.store import Store
from service.store.trash import new_trash

_LOGGER = logging.getLogger(__name__)


@contextmanager
def naming_files(store: Store, files: FileStore) -> Iterator[set[str]]:
    """Change which files are named. Yields a set, for the keys of files that are kept or let go meanwhile.

    Those of them that no record names in the end are removed, whether the change came about or was refused.
    """
    touched: set[str] = set()
    with files.lock():
        try:
            yield touched
        finally:
            for key in store.unnamed(touched):
                try:
                    files.remove(key)
                except OSError as error:
                    # What was asked for is done in the records; the next start moves the file to the trash.
                    _LOGGER.warning("%s cannot be removed: %s", files.path(key), error.strerror or error)


def set_unnamed_aside(data_folder: Path, store: Store, files: FileStore) -> None:
    """Move every file that no record names to the trash, and say what is missing. Raises OSError.

    A person may have given it: the database may be another, or older, than the files.
    """
    with files.lock():
        kept, named = set(files.keys()), store.named()
        if unnamed := kept - named:
            folder = new_trash(data_folder)
            for key in sorted(unnamed):
                files.move(key, folder)
            _LOGGER.warning(
                "%d of %d files are named by no log in the database; they were moved to %s; "
                "delete that folder once you are sure that you do not need them",
                len(unnamed), len(kept), folder,
            )  # fmt: skip
    if missing := named - kept:
        _LOGGER.warning(
            "%d files that logs need are not in %s; restore a backup, or upload them again",
            len(missing), files.folder,
        )  # fmt: skip
