"""The table of contents of a glTF, its buffers, and the arrays that its accessors name, all held to their bytes."""

import base64
import binascii
import json
import posixpath
import re
import struct
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scans.errors import ScanError
from scans.formats.scan import ReadingLimits
from scans.log import FloatArray, IntArray

DAMAGED = "the file is cut off or damaged; copy or export it again"
_PACK = "pack it as GLB or zip it with its .bin"
_JSON, _BIN = 0x4E4F534A, 0x004E4942
_KINDS = {5120: "<i1", 5121: "<u1", 5122: "<i2", 5123: "<u2", 5125: "<u4", 5126: "<f4"}
_WIDTHS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4}
_MOST_NUMBER = 1 << 53


class Gltf:
    """A glTF's tree, with what lies beside it. Every number that is asked of it is checked."""

    def __init__(self, data: bytes, limits: ReadingLimits, side_files: Mapping[str, bytes]) -> None:
        text, self._packed = _chunks(data) if data[:4] == b"glTF" else (data, None)
        if len(text) > limits.text_bytes:
            raise ScanError(f"the file has {len(text)} bytes of text, at most {limits.text_bytes} are read")
        try:
            tree = json.loads(text.removeprefix(b"\xef\xbb\xbf").decode())
        except (ValueError, RecursionError) as error:
            raise ScanError(f"the table of contents of the file cannot be read: {DAMAGED}") from error
        if not isinstance(tree, dict):
            raise ScanError(f"the table of contents of the file is none of a glTF: {DAMAGED}")
        self.tree: dict[str, Any] = tree
        self._sides = side_files
        self._buffers: dict[int, bytes] = {}

    def item(self, kind: str, index: object) -> dict[str, Any]:
        """Return one of the tree's "nodes", "meshes" and so on."""
        items = listed(self.tree, kind)
        if not isinstance(index, int) or isinstance(index, bool) or not 0 <= index < len(items):
            raise ScanError(f"the file names {kind} {str(index)[:40]}, and has {len(items)} of them: {DAMAGED}")
        found = items[index]
        if not isinstance(found, dict):
            raise ScanError(f"{kind} {index} of the file holds nothing: {DAMAGED}")
        return found

    def array(self, index: object, most: int) -> tuple[NDArray[Any], bool]:
        """Return what an accessor holds (count, width) in its own type, and whether its whole numbers are shares of 1.

        most : the rows that may be asked for.
        """
        accessor = self.item("accessors", index)
        count = whole(accessor, "count", "accessor")
        if count > most:
            raise ScanError(f"the file has {count} points or corners in one, at most {most} are read; thin it")
        kind, width = _KINDS.get(whole(accessor, "componentType", "accessor")), _width(accessor)
        if kind is None or width is None:
            raise ScanError(f"accessor {index} of the file holds a type that no glTF has: {DAMAGED}")
        view, sparse = accessor.get("bufferView"), accessor.get("sparse")
        if view is None and sparse is None:
            raise ScanError(
                f"accessor {index} of the file has no data, as where a compression that is not read keeps it: "
                "export it uncompressed"
            )
        if view is None:
            rows = np.zeros((count, width), dtype=kind)
        else:
            rows = self._rows(view, whole(accessor, "byteOffset", "accessor", 0), kind, count, width, True)
        if sparse is not None:
            rows = self._changed(rows, within(accessor, "sparse"), kind)
        return rows, accessor.get("normalized") is True

    def shares(self, index: object, most: int) -> FloatArray:
        """Return an accessor's numbers (count, width) as they are meant: shares of 1 where its type says so."""
        rows, is_share = self.array(index, most)
        with np.errstate(all="ignore"):  # damaged numbers of 32 bits may complain on their way to 64
            numbers = rows.astype(np.float64)
        if is_share and rows.dtype.kind in "iu":
            numbers = np.maximum(numbers / float(np.iinfo(rows.dtype).max), -1.0)
        return numbers

    def indices(self, index: object, most: int) -> IntArray:
        """Return the corners (count,) that an accessor of whole numbers lists."""
        rows, _ = self.array(index, most)
        if rows.shape[1] != 1 or rows.dtype.kind != "u":
            raise ScanError(f"accessor {index} of the file should list corners, and does not: {DAMAGED}")
        return rows[:, 0].astype(np.int64)

    def view(self, index: object) -> tuple[bytes, int, int]:
        """Return a buffer, and where in it a view of it begins and ends."""
        view = self.item("bufferViews", index)
        buffer = self._buffer(view.get("buffer"))
        start = whole(view, "byteOffset", "view", 0)
        end = start + whole(view, "byteLength", "view")
        if end > len(buffer):
            raise ScanError(f"a view of the file reaches to byte {end} of a buffer of {len(buffer)}: {DAMAGED}")
        return buffer, start, end

    def side_file(self, address: object) -> bytes | None:
        """Return what a data: address holds, or the file of that name beside this one; None where it is not there."""
        if not isinstance(address, str):
            return None
        if address.startswith("data:"):
            head, _, body = address.partition(",")
            if not head.endswith(";base64"):
                return None
            try:
                return base64.b64decode(body, validate=True)
            except (binascii.Error, ValueError):
                return None
        name = posixpath.normpath(_unquoted(address).replace("\\", "/"))
        if name in self._sides:
            return self._sides[name]
        for wanted in (f"/{name}", f"/{posixpath.basename(name)}"):
            found = [key for key in self._sides if f"/{key}".lower().endswith(wanted.lower())]
            if len(found) == 1:
                return self._sides[found[0]]
        return None

    def _buffer(self, index: object) -> bytes:
        item = self.item("buffers", index)
        number = int(str(index))
        if number not in self._buffers:
            address = item.get("uri")
            found = self._packed if address is None and number == 0 else self.side_file(address)
            if found is None:
                raise ScanError(_no_buffer(item, number))
            size = whole(item, "byteLength", "buffer")
            if size > len(found):
                raise ScanError(f"buffer {number} of the file has {len(found)} of its {size} bytes: {DAMAGED}")
            self._buffers[number] = found[:size]
        return self._buffers[number]

    def _rows(self, view: object, offset: int, kind: str, count: int, width: int, is_strided: bool) -> Any:
        """Return rows (count, width) of a view, by its stride, copied out of nothing."""
        buffer, start, end = self.view(view)
        each = np.dtype(kind).itemsize
        size = each * width
        stride = whole(self.item("bufferViews", view), "byteStride", "view", size) if is_strided else size
        if stride < size:
            raise ScanError(f"a view of the file has rows of {size} bytes, {stride} bytes apart: {DAMAGED}")
        there = 0 if start + offset + size > end else (end - start - offset - size) // stride + 1
        if count > there:
            raise ScanError(f"the file promises {count} rows, and a view of it holds {there}: {DAMAGED}")
        if count == 0:
            return np.zeros((0, width), dtype=kind)
        return np.ndarray((count, width), dtype=kind, buffer=buffer, offset=start + offset, strides=(stride, each))

    def _changed(self, rows: Any, sparse: dict[str, Any], kind: str) -> Any:
        """Return rows with those put in that a sparse accessor lists."""
        count = whole(sparse, "count", "sparse accessor")
        at, values = within(sparse, "indices"), within(sparse, "values")
        index_kind = _KINDS.get(whole(at, "componentType", "sparse accessor"), "")
        if count > len(rows) or index_kind not in {"<u1", "<u2", "<u4"}:
            raise ScanError(f"a sparse accessor of the file changes {count} of {len(rows)} rows: {DAMAGED}")
        place = self._rows(at.get("bufferView"), whole(at, "byteOffset", "accessor", 0), index_kind, count, 1, False)
        new = self._rows(
            values.get("bufferView"), whole(values, "byteOffset", "accessor", 0), kind, count, rows.shape[1], False
        )
        if count and int(place.max()) >= len(rows):
            raise ScanError(f"a sparse accessor of the file changes row {int(place.max())} of {len(rows)}: {DAMAGED}")
        changed = rows.copy()
        changed[place[:, 0]] = new
        return changed


def listed(tree: dict[str, Any], key: str) -> list[Any]:
    """Return a list of the tree, empty where it has none of that name."""
    found = tree.get(key, [])
    if not isinstance(found, list):
        raise ScanError(f"{key!r} of the file should be a list: {DAMAGED}")
    return found


def within(tree: dict[str, Any], key: str) -> dict[str, Any]:
    """Return a part of the tree, empty where it has none of that name."""
    found = tree.get(key, {})
    if not isinstance(found, dict):
        raise ScanError(f"{key!r} of the file should hold named things: {DAMAGED}")
    return found


def whole(tree: dict[str, Any], key: str, where: str, default: int | None = None) -> int:
    """Return a whole number of the tree, not below zero."""
    found = tree.get(key, default)
    if isinstance(found, float) and found.is_integer():
        found = int(found)
    if not isinstance(found, int) or isinstance(found, bool) or not 0 <= found < _MOST_NUMBER:
        raise ScanError(f"{key!r} of a {where} of the file should be a whole number, is {str(found)[:40]}: {DAMAGED}")
    return found


def numbers(tree: dict[str, Any], key: str, default: tuple[float, ...]) -> FloatArray:
    """Return a row of numbers of the tree, as many as the default has."""
    found = tree.get(key, default)
    is_row = isinstance(found, (list, tuple)) and len(found) == len(default)
    if not is_row or any(isinstance(value, bool) or not isinstance(value, (int, float)) for value in found):
        raise ScanError(f"{key!r} of the file should be {len(default)} numbers: {DAMAGED}")
    try:
        return np.array(found, dtype=np.float64)
    except OverflowError:
        raise ScanError(f"{key!r} of the file holds a number beyond all bounds: {DAMAGED}") from None


def _chunks(data: bytes) -> tuple[bytes, bytes | None]:
    """Return the text and the first buffer of a GLB."""
    if len(data) < 20:
        raise ScanError(f"the file has {len(data)} bytes, fewer than the header of a GLB: {DAMAGED}")
    version, length = struct.unpack_from("<II", data, 4)
    if version != 2:
        raise ScanError(f"the file is glTF of version {version}, only 2 is read; export it again as GLB")
    if length > len(data):
        raise ScanError(f"the file has {len(data)} of its {length} bytes: {DAMAGED}")
    chunks: list[tuple[int, bytes]] = []
    at = 12
    while at < length:
        if at + 8 > length:
            raise ScanError(f"the file ends within the header of a chunk: {DAMAGED}")
        size, kind = struct.unpack_from("<II", data, at)
        if at + 8 + size > length:
            raise ScanError(f"a chunk of the file has {length - at - 8} of its {size} bytes: {DAMAGED}")
        if kind in {_JSON, _BIN}:
            chunks.append((kind, data[at + 8 : at + 8 + size]))
        at += 8 + size
    if not chunks or [kind for kind, _ in chunks] not in ([_JSON], [_JSON, _BIN]):
        raise ScanError(f"the chunks of the file are not those of a GLB: {DAMAGED}")
    return chunks[0][1], chunks[1][1] if len(chunks) > 1 else None


def _width(accessor: dict[str, Any]) -> int | None:
    kind = accessor.get("type")
    return _WIDTHS.get(kind) if isinstance(kind, str) else None


def _unquoted(address: str) -> str:
    """Return an address with its %20 and the like as the letters that they stand for."""
    raw = re.sub(rb"%([0-9A-Fa-f]{2})", lambda found: bytes([int(found[1], 16)]), address.encode("utf-8", "replace"))
    return raw.decode("utf-8", "replace")


def _no_buffer(item: dict[str, Any], number: int) -> str:
    address = item.get("uri")
    if isinstance(address, str) and not address.startswith("data:"):
        return f"the points of the file lie in another file, {address[:80]!r}, that is not with it; {_PACK}"
    names = ", ".join(str(name)[:60] for name in within(item, "extensions"))
    if names:
        return f"buffer {number} of the file is compressed ({names}), which is not read; export it uncompressed"
    return f"buffer {number} of the file is not in it: {DAMAGED}"
