"""Unpacks a zip archive without trusting what it says of itself."""

import io
import struct
import zipfile
import zlib

from scans.errors import ScanError
from scans.formats.scan import ReadingLimits

_PART_BYTES = 1 << 20
_AGAIN = "the archive is cut off or damaged; copy or export it again"
_UNPACK = "unpack it yourself and give the scan that is in it"
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
"""The two that scan apps use; the others of the standard library unpack a part of any size at once."""
_SMALL_BYTES = 1 << 20
"""Under this size a file may be packed as tightly as it likes: a page of equal numbers is no bomb."""


def unpacked(data: bytes, limits: ReadingLimits) -> dict[str, bytes]:
    """Return the files of a zip archive by their names, in the archive's order; folders are left out.

    data : the archive's bytes.
    limits : archive_files entries, archive_bytes in all and archive_ratio of unpacked over packed size
    are the most that is unpacked. What the archive says is checked before anything is unpacked, and no
    file is unpacked beyond the size that the archive states, so that a false size helps nobody.

    Raises ScanError where the archive is over one of these, cut off, damaged, encrypted, packed by a method
    that is not known, names the same file twice, or names a file outside itself.
    """
    if not data:
        raise ScanError("the file is empty; copy or export it again")
    try:
        archive = zipfile.ZipFile(io.BytesIO(data))
    except (zipfile.BadZipFile, ValueError, OSError, NotImplementedError, EOFError) as error:
        raise ScanError(f"the file is no whole zip archive: {_AGAIN}") from error
    with archive:
        entries = archive.infolist()
        _check_promise(len(entries), data)
        _check_entries(entries, len(data), limits)
        return {entry.filename: _contents(archive, entry) for entry in entries if not entry.is_dir()}


def _check_promise(count: int, data: bytes) -> None:
    """Hold the entries that were found to the count at the archive's end; the library does not, and drops some."""
    end = data.rfind(b"PK\x05\x06")
    promised = struct.unpack_from("<H", data, end + 10)[0] if 0 <= end <= len(data) - 22 else count
    if promised not in {count, 0xFFFF}:  # all ones where the archive is a large one, with its count elsewhere
        raise ScanError(f"the archive promises {promised} files and lists {count}: {_AGAIN}")


def _check_entries(entries: list[zipfile.ZipInfo], packed_bytes: int, limits: ReadingLimits) -> None:
    """Refuse by what the archive's own list says."""
    if len(entries) > limits.archive_files:
        raise ScanError(f"the archive holds {len(entries)} files, at most {limits.archive_files} are read: {_UNPACK}")
    names: set[str] = set()
    for entry in entries:
        name = entry.filename
        if _climbs(name):
            raise ScanError(f"the archive names a file outside itself, {name[:80]!r}: do not trust it; {_UNPACK}")
        if name in names:
            raise ScanError(f"the archive holds {name[:80]!r} twice: pack it again with each file once")
        names.add(name)
        if entry.flag_bits & 0x1:
            raise ScanError(f"{name[:80]!r} in the archive is locked with a password: {_UNPACK}")
        if entry.compress_type not in _METHODS:
            raise ScanError(f"{name[:80]!r} in the archive is packed by method {entry.compress_type}: {_UNPACK}")
    total = sum(entry.file_size for entry in entries)
    if total > limits.archive_bytes:
        raise ScanError(f"the archive unpacks to {total} bytes, at most {limits.archive_bytes} are read: {_UNPACK}")
    if total > max(_SMALL_BYTES, limits.archive_ratio * packed_bytes):
        raise ScanError(
            f"the archive unpacks to {total / packed_bytes:.0f} times its size, "
            f"at most {limits.archive_ratio:.0f} times is read: {_UNPACK}"
        )


def _climbs(name: str) -> bool:
    """Whether a name would land outside of the folder that an archive is unpacked into."""
    steps = name.replace("\\", "/").split("/")
    return not name or name[0] in "/\\" or ".." in steps or ":" in steps[0] or "\0" in name


def _contents(archive: zipfile.ZipFile, entry: zipfile.ZipInfo) -> bytes:
    """Unpack one file, in parts, to at most the size that the archive says, which was checked before."""
    name = entry.filename[:80]
    try:
        with archive.open(entry) as stream:
            # The stream stops by itself at the stated size, so that no more than that is ever held.
            whole = b"".join(iter(lambda: stream.read(_PART_BYTES), b""))
    except MemoryError:
        raise ScanError(f"{name!r} in the archive asks for more memory than there is: {_UNPACK}") from None
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, RuntimeError, NotImplementedError, ValueError) as error:
        raise ScanError(f"{name!r} in the archive cannot be unpacked: {_AGAIN}") from error
    if len(whole) != entry.file_size:
        raise ScanError(f"{name!r} holds {len(whole)} bytes where the archive says {entry.file_size}: {_AGAIN}")
    return whole
