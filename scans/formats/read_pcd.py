"""From the bytes of a PCD file, text, binary or packed, to points, colours and normals."""

import re
import struct
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scans.errors import ScanError
from scans.formats.lzf import unpacked_lzf
from scans.formats.number_text import as_text, shown, table_of
from scans.formats.point_columns import eight_bit, last_line_notes, unit_normals
from scans.formats.scan import ReadingLimits, Scan
from scans.log import FloatArray
from scans.messages import Note

_DAMAGED = "the file is cut off or damaged; copy or export it again"
_TYPES = {
    "F4": "<f4", "F8": "<f8", "U1": "<u1", "U2": "<u2", "U4": "<u4", "U8": "<u8", "I1": "<i1", "I2": "<i2",
    "I4": "<i4", "I8": "<i8",
}  # fmt: skip
_MOST_HEADER_BYTES = 100_000
_MOST_ROW_BYTES = 65_536
_KEYS = {"VERSION", "FIELDS", "COLUMNS", "SIZE", "TYPE", "COUNT", "WIDTH", "HEIGHT", "VIEWPOINT", "POINTS", "DATA"}
_DATA = ("ascii", "binary", "binary_compressed")


@dataclass(frozen=True)
class _Header:
    """names, kinds (as numpy's) and counts of the fields; how many points; how their data is kept, and from where."""

    names: tuple[str, ...]
    kinds: tuple[str, ...]
    counts: tuple[int, ...]
    points: int
    data: str
    body_at: int


def is_pcd(data: bytes) -> bool:
    """Whether a file begins as a PCD does."""
    return re.match(rb"\s*(#[^\n]*\s+)*VERSION[ \t]+\.?\d", data[:2000]) is not None


def read_pcd(data: bytes, limits: ReadingLimits) -> Scan:
    """Return the points of a PCD, with their colours (rgb, rgba, or r, g and b) and normals.

    data : the file's bytes. limits : at most limits.points points are read.

    Holes of an organised cloud stay in as points that are no numbers. Where the scanner stood (VIEWPOINT) does not
    move the points. PCD states neither unit nor up axis. Layout: the public description of PCD 0.7, from memory.

    Raises ScanError where the header contradicts itself, or its points are not in the file.
    """
    if not data:
        raise ScanError("the file is empty; copy or export it again")
    header = _header(data, limits)
    notes: tuple[Note, ...] = ()
    if header.data == "ascii":
        columns, notes = _text_columns(
            as_text(data[header.body_at :], limits), header, data[: header.body_at].count(b"\n")
        )
    else:
        columns = _binary_columns(data, header)
    if not {"x", "y", "z"} <= set(columns):
        raise ScanError("the points of the file have no x, y and z; export the scan again")
    if any(columns[name].shape[1] != 1 for name in "xyz"):
        raise ScanError(f"x, y and z of the file are more than one number a point: {_DAMAGED}")
    with np.errstate(all="ignore"):  # damaged numbers of 32 bits may complain on their way to 64
        points = np.concatenate([columns[name].astype(np.float64) for name in "xyz"], axis=1)
        return Scan(points, colours=_colours(columns), normals=_normals(columns, points), notes=notes)


def _header(data: bytes, limits: ReadingLimits) -> _Header:
    if not is_pcd(data):
        raise ScanError("the file does not begin as a PCD does; check what it is and rename it")
    end = re.search(rb"(?:^|\n)DATA[ \t]+(\w+)[ \t]*\r?(?:\n|$)", data[:_MOST_HEADER_BYTES])
    if end is None:
        raise ScanError(f"the header of the file has no end: {_DAMAGED}")
    lines: dict[str, list[str]] = {}
    for raw in data[: end.end()].split(b"\n"):
        words = raw.decode("ascii", "replace").split()
        if not words or words[0].startswith("#"):
            continue
        if words[0] not in _KEYS or words[0] in lines:
            raise ScanError(f"the header of the file has the line {shown(raw)}, which no PCD has there: {_DAMAGED}")
        lines[words[0]] = words[1:]
    names = tuple(word.lower() for word in lines.get("FIELDS", lines.get("COLUMNS", [])))
    sizes, types = lines.get("SIZE", []), lines.get("TYPE", [])
    counts = tuple(_whole(word, "COUNT") for word in lines.get("COUNT", ["1"] * len(names)))
    kinds = tuple(_TYPES.get(letter.upper() + size, "") for letter, size in zip(types, sizes, strict=False))
    if not names or not len(names) == len(sizes) == len(types) == len(counts) or "" in kinds or 0 in counts:
        raise ScanError(f"FIELDS, SIZE, TYPE and COUNT in the header of the file do not agree: {_DAMAGED}")
    row_bytes = sum(np.dtype(kind).itemsize * count for kind, count in zip(kinds, counts, strict=True))
    if row_bytes > _MOST_ROW_BYTES:
        raise ScanError(f"the header of the file gives each point {row_bytes} bytes: {_DAMAGED}")
    width, height = (_one(lines, key) for key in ("WIDTH", "HEIGHT"))
    if width is not None and height is None:
        height = 1
    grid = None if width is None or height is None else width * height
    promised = _one(lines, "POINTS")
    points = grid if promised is None else promised
    if points is None or (grid is not None and grid != points):
        raise ScanError(f"WIDTH x HEIGHT in the header of the file is {grid}, POINTS {promised}: {_DAMAGED}")
    if points == 0:
        raise ScanError("the file holds no points; export the scan again")
    if points > limits.points:
        raise ScanError(
            f"the file has {points} points, at most {limits.points} are read; thin the cloud and export it again"
        )
    kind = end[1].decode().lower()
    if kind not in _DATA:
        raise ScanError(f"the data of the file is {shown(end[1])}, and is read as {', '.join(_DATA)}: {_DAMAGED}")
    return _Header(names, kinds, counts, points, kind, end.end())


def _whole(word: str, key: str) -> int:
    if not re.fullmatch(r"[0-9]{1,15}", word):
        raise ScanError(f"{key} in the header of the file is {shown(word.encode())}, no whole number: {_DAMAGED}")
    return int(word)


def _one(lines: dict[str, list[str]], key: str) -> int | None:
    if key not in lines:
        return None
    return _whole(" ".join(lines[key]), key)


def _text_columns(
    text: bytes, header: _Header, lines_before: int
) -> tuple[dict[str, NDArray[np.generic]], tuple[Note, ...]]:
    if text.count(b"\n") > 2 * header.points + 1000:  # before memory is taken for lines that nothing promised
        raise ScanError(f"the file promises {header.points} points and holds more lines: {_DAMAGED}")
    notes = last_line_notes(text)
    table = table_of(text, lines_before + 1)
    if table.shape != (header.points, sum(header.counts)):
        raise ScanError(
            f"the file promises {header.points} points of {sum(header.counts)} numbers, and holds {table.shape[0]} of "
            f"{table.shape[1]}: {_DAMAGED}"
        )
    columns: dict[str, NDArray[np.generic]] = {}
    at = 0
    for name, kind, count in zip(header.names, header.kinds, header.counts, strict=True):
        if name != "_":
            part = table[:, at : at + count]
            # A packed colour is a pattern of bits, that the number must be put back into.
            with np.errstate(over="ignore", invalid="ignore"):
                columns[name] = part.astype(kind) if name in {"rgb", "rgba"} else part
        at += count
    return columns, notes


def _binary_columns(data: bytes, header: _Header) -> dict[str, NDArray[np.generic]]:
    count = header.points
    fields = list(zip(header.names, header.kinds, header.counts, strict=True))
    row_bytes = sum(np.dtype(kind).itemsize * width for _, kind, width in fields)
    columns: dict[str, NDArray[np.generic]] = {}
    at = 0
    if header.data == "binary":
        if len(data) - header.body_at < count * row_bytes:
            there = (len(data) - header.body_at) // row_bytes
            raise ScanError(f"the file promises {count} points and holds {there}: {_DAMAGED}")
        for name, kind, width in fields:
            each = np.dtype(kind).itemsize
            if name != "_":
                columns[name] = np.ndarray(
                    (count, width), kind, data, header.body_at + at, strides=(row_bytes, each)
                ).copy()
            at += width * each
        return columns
    whole = _unpacked(data, header, count * row_bytes)
    for name, kind, width in fields:  # packed, each field of all points comes before the next
        if name != "_":
            columns[name] = np.frombuffer(whole, kind, count * width, at).reshape(count, width)
        at += count * width * np.dtype(kind).itemsize
    return columns


def _unpacked(data: bytes, header: _Header, size: int) -> bytes:
    if len(data) < header.body_at + 8:
        raise ScanError(f"the file ends before its points: {_DAMAGED}")
    packed, promised = struct.unpack_from("<II", data, header.body_at)
    start = header.body_at + 8
    if promised != size:
        raise ScanError(f"the points of the file unpack to {promised} bytes, and should to {size}: {_DAMAGED}")
    if packed > len(data) - start:
        raise ScanError(f"the points of the file have {len(data) - start} of their {packed} bytes: {_DAMAGED}")
    whole = unpacked_lzf(data[start : start + packed], size)
    if whole is None:
        raise ScanError(f"the packed points of the file cannot be unpacked: {_DAMAGED}")
    return whole


def _colours(columns: dict[str, NDArray[np.generic]]) -> NDArray[np.uint8] | None:
    """Colours from 32 bits, blue in the lowest, whether they call themselves a float or a whole number."""
    for name in ("rgb", "rgba"):
        packed = columns.get(name)
        if packed is not None and packed.shape[1] == 1 and packed.dtype.itemsize == 4:
            bits = np.ascontiguousarray(packed[:, 0]).view("<u4")
            return np.stack([bits >> 16 & 255, bits >> 8 & 255, bits & 255], axis=1).astype(np.uint8)
    for names in (("r", "g", "b"), ("red", "green", "blue")):
        parts = [columns[name] for name in names if name in columns]
        if len(parts) == 3 and all(part.shape[1] == 1 for part in parts):
            return eight_bit(np.concatenate([part.astype(np.float64) for part in parts], axis=1))
    return None


def _normals(columns: dict[str, NDArray[np.generic]], points: FloatArray) -> FloatArray | None:
    for names in (("normal_x", "normal_y", "normal_z"), ("nx", "ny", "nz")):
        parts = [columns[name] for name in names if name in columns]
        if len(parts) == 3 and all(part.shape[1] == 1 for part in parts):
            return unit_normals(np.concatenate([part.astype(np.float64) for part in parts], axis=1), points)
    return None
