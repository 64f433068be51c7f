"""A log that was read, as it is kept: its file, with the name and the marks that the database has now."""

from service.contract.log_given import called
from service.store.file_store import FileStore
from service.store.log_file import unpack_log
from service.store.store import Store
from service.typed.log_reading import LogRead


def kept_log(store: Store, files: FileStore, log_id: str) -> LogRead | None:
    """Return a log; None where it was not read yet. Raises NotFoundError."""
    log, key = store.log(log_id), store.log_read_key(log_id)
    if key is None:
        return None
    return called(unpack_log(files.read(key)), log.name, tuple(mark for _, mark in store.marks(log_id)))
