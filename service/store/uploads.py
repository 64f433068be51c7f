"""Takes a file off the network: straight to disk, hashed on the way, within limits.

A body is a form (multipart/form-data, RFC 7578) with one file and short fields, or the bare file
(application/octet-stream). Nothing of it is held in memory, and the file's own name is never a path.
"""

import hashlib
import re
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, BinaryIO

from fastapi.concurrency import run_in_threadpool
from python_multipart.exceptions import FormParserError
from python_multipart.multipart import MultipartParser, parse_options_header

from service.contract.refusals import TooLargeError
from service.store.file_store import FileStore, no_room, writing_to_disk
from service.typed.errors import InputError

CHUNK_BYTES = 500_000
MOST_FIELD_BYTES = 4_000
"""Of one field beside the file (our own rule, no source)."""
MOST_FIELDS = 30
"""Beside the file, in one form (our own rule, no source)."""
MOST_FORM_BYTES = 200_000
"""What a form may hold beside its file."""
_LOOK_AT_DISK_BYTES = 16_000_000
_NO_FILE = 'the form holds no file; send it as the field "file"'
_SHOWN_NAME = 120


@dataclass(frozen=True)
class Limits:
    """file_bytes : the largest file. free_bytes : what must stay free on the disk."""

    file_bytes: int
    free_bytes: int


@dataclass(frozen=True)
class Received:
    """A file that came in, and what came with it. path : where it lies until it is kept. key : hash of its content."""

    path: Path
    key: str
    size: int
    name: str
    fields: dict[str, str]


def shown_name(name: str) -> str:
    """Return the last step of a file's name as it may be shown, with no control characters."""
    last = re.split(r"[/\\]", name)[-1]
    kept = "".join(letter for letter in last if letter.isprintable()).strip()
    stem, dot, ending = kept.rpartition(".")
    if not dot:
        return kept[:_SHOWN_NAME]
    return f"{stem[: _SHOWN_NAME - 12]}.{ending[:11]}"


class FileTaker:
    """Writes and hashes a file. Raises TooLargeError and DiskFullError as soon as they are sure."""

    def __init__(self, stream: BinaryIO, files: FileStore, limits: Limits) -> None:
        self._stream, self._files, self._limits = stream, files, limits
        self._hash = hashlib.sha256()
        self._look_at = 0
        self.size = 0

    def write(self, data: bytes) -> None:
        """Take some more."""
        self.size += len(data)
        if self.size > self._limits.file_bytes:
            raise too_large(self._limits.file_bytes)
        if self.size > self._look_at:
            check_room(self._files, self._limits, len(data))
            self._look_at = self.size + _LOOK_AT_DISK_BYTES
        self._hash.update(data)
        with writing_to_disk():
            self._stream.write(data)

    def end(self) -> str:
        """End the file, once it is on the disk; return its key."""
        self._files.close(self._stream)
        return self._hash.hexdigest()


def too_large(limit: int) -> TooLargeError:
    """Return the error of a file over its limit."""
    return TooLargeError(f"the file is over {limit:,} bytes, the most that is taken")


def check_room(files: FileStore, limits: Limits, size: int) -> None:
    """Refuse a file that the disk has no room for. Raises DiskFullError."""
    if files.free_bytes() - size < limits.free_bytes:
        raise no_room(f"{limits.free_bytes:,} bytes must stay free")


def check_length(stated: str | None, files: FileStore, limits: Limits) -> None:
    """Refuse at once what its own length says is too much. stated : the Content-Length, if there is one."""
    size = stated_bytes(stated)
    if size is None:
        return
    if size > limits.file_bytes + MOST_FORM_BYTES:
        raise too_large(limits.file_bytes)
    check_room(files, limits, size)


def _options(header: str) -> tuple[bytes, dict[bytes, bytes]]:
    try:
        return parse_options_header(header)
    except (ValueError, LookupError):  # letters or a character set that it cannot write
        raise InputError("the form has a header that cannot be read; send it again with plain letters") from None


@dataclass
class _Part:
    headers: dict[str, str] = field(default_factory=dict)
    name: str = ""
    file_name: str | None = None
    value: bytearray = field(default_factory=bytearray)


class FormTaker:
    """Takes a form apart as it comes: its file to a FileTaker, its fields to memory. Raises InputError."""

    def __init__(self, content_type: str, taker: FileTaker) -> None:
        kind, options = _options(content_type)
        boundary = options.get(b"boundary", b"")
        if kind != b"multipart/form-data" or not boundary:
            raise InputError("the form has no boundary; send it as multipart/form-data")
        self._taker = taker
        self._part = _Part()
        self._header = [bytearray(), bytearray()]
        self._beside = 0
        self.fields: dict[str, str] = {}
        self.file_name: str | None = None
        self.is_whole = False
        try:
            self._parser = MultipartParser(boundary, self._callbacks())
        except FormParserError as error:
            raise InputError(f"the form cannot be read: {error}; send it with a shorter boundary") from None

    def _callbacks(self) -> Any:
        return {
            "on_part_begin": self._begin,
            "on_header_field": lambda data, start, end: self._grow(self._header[0], data[start:end]),
            "on_header_value": lambda data, start, end: self._grow(self._header[1], data[start:end]),
            "on_header_end": self._end_header,
            "on_headers_finished": self._end_headers,
            "on_part_data": lambda data, start, end: self._take(data[start:end]),
            "on_part_end": self._end,
            "on_end": self._finish,
        }

    def write(self, data: bytes) -> None:
        """Take some more of the body."""
        try:
            self._parser.write(data)
        except FormParserError as error:
            raise InputError(f"the form cannot be read: {error}; send it again") from None

    def _begin(self) -> None:
        if len(self.fields) >= MOST_FIELDS:
            raise InputError(f"the form holds more than {MOST_FIELDS} fields; leave out what is not needed")
        self._part = _Part()

    def _grow(self, into: bytearray, data: bytes) -> None:
        into += data  # the parser itself bounds a header

    def _end_header(self) -> None:
        name, value = (bytes(part).decode("latin-1") for part in self._header)
        self._part.headers[name.lower()] = value
        self._header = [bytearray(), bytearray()]
        if len(self._part.headers) > MOST_FIELDS:
            raise InputError("the form has too many headers; send it again")

    def _end_headers(self) -> None:
        _, options = _options(self._part.headers.get("content-disposition", ""))
        self._part.name = options.get(b"name", b"").decode("utf-8", "replace")
        if b"filename" in options:
            if self.file_name is not None:
                raise InputError("the form holds more than one file; send one log at a time")
            self._part.file_name = self.file_name = options[b"filename"].decode("utf-8", "replace")

    def _take(self, data: bytes) -> None:
        if self._part.file_name is not None:
            self._taker.write(data)
            return
        self._part.value += data
        if len(self._part.value) > MOST_FIELD_BYTES:
            raise InputError(f"{self._part.name[:40]} must be at most {MOST_FIELD_BYTES} bytes long; shorten it")

    def _end(self) -> None:
        if self._part.file_name is None:
            self.fields[self._part.name] = bytes(self._part.value).decode("utf-8", "replace")

    def _finish(self) -> None:
        self.is_whole = True


@contextmanager
def taking(files: FileStore, limits: Limits) -> Iterator[tuple[FileTaker, Path]]:
    """Offer a place for a file that comes in."""
    with files.incoming() as (stream, path):
        yield FileTaker(stream, files, limits), path


@asynccontextmanager
async def receiving(
    content_type: str, body: AsyncIterator[bytes], name: str | None, files: FileStore, limits: Limits
) -> AsyncIterator[Received]:
    """Take a file off the network; it goes away afterwards unless it was kept, so that a refusal leaves nothing.

    name : what a bare file is called; a form says it itself. Raises InputError, TooLargeError, DiskFullError.
    """
    with taking(files, limits) as (taker, path):
        form = FormTaker(content_type, taker) if content_type.lower().startswith("multipart/") else None
        into = taker if form is None else form
        async for chunk in _larger(body):
            # Disks may keep one waiting, and the event loop must not wait.
            await run_in_threadpool(into.write, chunk)
        if form is not None and not form.is_whole:
            raise InputError("the form was cut off; send it again")
        file_name, fields = (name, {}) if form is None else (form.file_name, form.fields)
        shown = shown_name(file_name or "")
        if not shown:
            raise InputError(_NO_FILE if name is None else "name must say what the file is called, such as log.ply")
        if taker.size == 0:
            raise InputError(f"{shown} is empty; nothing can be read from it")
        yield Received(path, await run_in_threadpool(taker.end), taker.size, shown, fields)


async def _larger(chunks: AsyncIterator[bytes]) -> AsyncIterator[bytes]:
    """Gather small chunks to some that are worth a thread's while."""
    gathered = bytearray()
    async for chunk in chunks:
        gathered += chunk
        if len(gathered) >= CHUNK_BYTES:
            yield bytes(gathered)
            gathered.clear()
    if gathered:
        yield bytes(gathered)


_DIGITS = re.compile("[0-9]+")
_MOST_DIGITS = 20


def stated_bytes(length: str | None) -> int | None:
    """Return the bytes that a Content-Length states; None of what states none."""
    if length is None or not _DIGITS.fullmatch(length):
        return None
    # Of more digits than any count of bytes has, the first are as good: it is over every limit.
    return int(length[:_MOST_DIGITS])
