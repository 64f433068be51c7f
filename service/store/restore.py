"""Puts a backup back in place of what a data folder holds, which is moved aside and never deleted.

All of the backup is unpacked and looked at first. Then one rename says that it is whole, and what follows can be done
again from wherever it was cut off: the next start does so. Before that rename the data folder is as it was.
"""

import hashlib
import logging
import os
import re
import shutil
import tempfile
import zipfile
import zlib
from pathlib import Path

from pydantic import ValidationError

from scans.messages import counted, named
from service.settings import DATABASE_FILE, FILES_FOLDER, Settings
from service.store.backup import CHUNK_BYTES, MANIFEST, SCHEMA, Manifest, kept_in
from service.store.database import BESIDE
from service.store.file_store import FileStore, sync
from service.store.folder_lock import FolderLock
from service.store.passphrase import PASSPHRASE_FILE
from service.store.trash import new_trash
from service.typed.errors import InputError

_UNPACKED, _UNPACKING = "restored", "restoring-"
_FILE_NAME = re.compile(rf"{FILES_FOLDER}/([0-9a-f]{{64}})")
_LOGGER = logging.getLogger(__name__)


def restore(settings: Settings, backup: Path, *, replace: bool) -> str:
    """Put a backup in place; return what to tell of it. Raises InputError, with the data folder as it was."""
    folder = settings.data_folder
    if settings.database_url is not None:
        raise InputError(
            "a backup is restored into the data folder alone; unset PITHLINE_DATABASE_URL, and set it again "
            "once you moved the database to its place"
        )
    try:
        if not backup.is_file():
            raise InputError(f"{backup} does not exist; check its name and folder")
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        lock = FolderLock(folder)
    except OSError as error:
        raise InputError(f"{folder} cannot be written: {error.strerror or error}") from None
    try:
        finish_restore(folder)
        files = FileStore(folder / FILES_FOLDER)
        if not replace and ((folder / DATABASE_FILE).exists() or files.keys()):
            raise InputError(
                f"{folder} holds logs already; {named('replace')} moves them to its trash folder first, or name "
                "another folder "
                f"({named('data')})"
            )
        with tempfile.TemporaryDirectory(dir=folder, prefix=_UNPACKING, ignore_cleanup_errors=True) as name:
            made, count = _unpacked(backup, Path(name))
            Path(name).rename(folder / _UNPACKED)
            sync(folder)
        trash = _put_in_place(folder)
    except OSError as error:
        raise InputError(f"{backup} cannot be restored: {error.strerror or error}; try again") from None
    finally:
        lock.release()
    kept = f"{counted(made.logs, 'log')} and {counted(count, 'file')}"
    lines = [f"Restored {kept} into {folder}, as they were on {made.made_at}."]
    if trash is not None:
        lines.append(
            f"What was there before is now in {trash}. Delete that folder once you are sure you don't need it."
        )
    if lost := len(made.missing) + len(made.damaged):
        lines.append(f"WARNING {lost} files that logs need were lost or damaged before the backup. Upload those again.")
    return "\n".join(lines)


def finish_restore(folder: Path) -> None:
    """End a restore that was cut off, if one was; for whoever holds the folder's lock. Raises OSError."""
    for cut_off in folder.glob(f"{_UNPACKING}*"):
        # Nothing was moved aside for its sake yet, and the backup is still there.
        _LOGGER.warning("a restore was cut off before it changed anything; restore the copy again")
        shutil.rmtree(cut_off)
    if (folder / _UNPACKED).is_dir():
        trash = _put_in_place(folder)
        _LOGGER.warning("a restore that was cut off is finished; what was there before is in %s", trash)


def _put_in_place(folder: Path) -> Path | None:
    """Put in place what was unpacked whole; return where that which was there went, if anything was.

    May be cut off anywhere, and is done again then.
    """
    unpacked, trash = folder / _UNPACKED, None
    # A name that is gone from what was unpacked is in its place already. What SQLite keeps beside the old database
    # goes before the new one comes: it would be taken for the new one's.
    for name in (FILES_FOLDER, PASSPHRASE_FILE, DATABASE_FILE):
        if not (unpacked / name).exists():
            continue
        for old in (folder / name, *(folder / f"{name}{ending}" for ending in BESIDE if name == DATABASE_FILE)):
            if old.exists():
                trash = trash or new_trash(folder)
                old.rename(trash / old.name)
        sync(folder)
        (unpacked / name).rename(folder / name)
        sync(folder)
    unpacked.rmdir()
    return trash


def _unpacked(backup: Path, into: Path) -> tuple[Manifest, int]:
    """Unpack a backup and see that it is whole; return what it says of itself, and how many files it holds."""
    try:
        with zipfile.ZipFile(backup) as archive:
            made = _manifest(backup, archive)
            files = FileStore(into / FILES_FOLDER)
            files.make_folders()
            for info in archive.infolist():
                _unpack(backup, archive, info, into, made)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError) as error:
        raise InputError(
            f"{backup} is no whole backup ({error}); take another, or copy it again; nothing was changed"
        ) from None
    kept = set(files.keys())
    with kept_in(into / DATABASE_FILE) as store:
        try:
            store.database.check()
        except InputError as error:
            raise InputError(f"{backup} cannot be restored: {error}") from None
        named = store.named() if store.database.has_logs() else set()
    if lost := named - kept - set(made.missing):
        raise InputError(f"{backup} lacks {len(lost)} files that its logs need; take another; nothing was changed")
    for path in (into, *into.rglob("*")):
        sync(path)
    return made, len(kept)


def _manifest(backup: Path, archive: zipfile.ZipFile) -> Manifest:
    try:
        made = Manifest.model_validate_json(archive.read(MANIFEST))
        archive.getinfo(DATABASE_FILE)
    except (KeyError, ValidationError):
        raise InputError(
            f"{backup} is no backup of Pithline's, or one of a newer Pithline; name a file that pithline backup wrote"
        ) from None
    if made.schema_ != SCHEMA:
        raise InputError(f"{backup} was made by a newer Pithline ({made.schema_}); install that one, and restore again")
    return made


def _unpack(backup: Path, archive: zipfile.ZipFile, info: zipfile.ZipInfo, into: Path, made: Manifest) -> None:
    if info.filename == MANIFEST:
        return
    key = _FILE_NAME.fullmatch(info.filename)
    if key is None and info.filename not in {DATABASE_FILE, PASSPHRASE_FILE}:
        raise InputError(f"{backup} holds {info.filename[:80]!r}, which is of no backup; nothing was changed")
    path = into / info.filename if key is None else FileStore(into / FILES_FOLDER).path(key[1])
    path.parent.mkdir(exist_ok=True, mode=0o700)
    digest = hashlib.sha256()
    # Read to its end, an entry's own sum is checked too.
    with archive.open(info) as source, os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT, 0o600), "wb") as stream:
        while chunk := source.read(CHUNK_BYTES):
            digest.update(chunk)
            stream.write(chunk)
    if key is not None and digest.hexdigest() != key[1] and key[1] not in made.damaged:
        raise InputError(f"{backup} is damaged: {info.filename} is not what it was; nothing was changed")
