"""From the bytes of a LAS or LAZ file to points."""

import io
import struct
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scans.errors import ScanError
from scans.formats.las_units import StatedUnits, from_geo_keys, from_well_known_text
from scans.formats.scan import ReadingLimits, Scan
from scans.log import FloatArray
from scans.messages import Note, counted, exact_length

_CHUNK_POINTS = 1_000_000
_CHUNK_BYTES = 64_000_000
_WIDEST_CHUNK_POINTS = 64_000_000
_DAMAGED = "the file is cut off or damaged; copy or export it again"
_COARSE_M = 0.005
_LAYERED, _EXTRA_BYTES = 3, 14
_LAYERS_OF = {10: 9, 11: 1, 12: 2, 13: 1}
"""By an item's kind: a point, its colours, those with near infrared, its wave packet."""


def read_las(data: bytes, limits: ReadingLimits) -> Scan:
    """Return the points of a LAS or LAZ file, a COPC among them; z is up.

    data : the file's bytes. limits : at most limits.points are read, packed to at most 1 in
    limits.archive_ratio.

    Points are read a million or 64 MB at a time, so that beside the result only that many are held. Coordinates keep
    the file's own origin; unit_m is what its GeoTIFF keys or well-known text state, and None where they do not.
    z is brought to the unit of x and y where the file states another for it. Points that the file marks as
    withheld are left out, and a note says how many. Colours of 16 bits come out in 8; a file whose colours are all
    below 256 already holds 8.

    Raises ScanError where the file is cut off, its counts do not fit its bytes, it holds no points or more than
    may be read, or its coordinates are degrees.
    """
    header = _checked_header(data, limits)
    try:
        points, colours, units, scales, withheld = _read(data, header)
    except ScanError:
        raise
    except MemoryError:
        raise ScanError(f"the file asks for more memory than there is: {_DAMAGED}") from None
    except BaseException as error:
        # The decoder is compiled, and where it meets nonsense it raises an exception outside of Exception.
        if not isinstance(error, Exception) and type(error).__name__ != "PanicException":
            raise
        raise ScanError(f"the points of the file could not be read ({type(error).__name__}): {_DAMAGED}") from error
    notes: list[Note] = []
    if withheld:
        notes.append(Note("points_left_out", f"Left out {counted(withheld, 'point')} marked as withheld in the file."))
    if len(points) == 0:
        raise ScanError("the file marks all of its points as withheld; export it with points that count")
    unit_m = _settled_unit(points, units, notes)
    coarsest = float(np.abs(scales).max())
    if coarsest * (unit_m or 1.0) >= _COARSE_M:
        notes.append(
            Note(
                "coarse_coordinates",
                f"The file rounds its coordinates to {coarsest:g} of its unit, which is coarse for a log.",
            )
        )
    return Scan(points, colours=colours, unit_m=unit_m, up="z", notes=tuple(notes))


class _Header:
    """The few numbers of a LAS header that the rest of the file is held to."""

    def __init__(self, data: bytes) -> None:
        minor = data[25]
        self.header_bytes, self.points_at, self.records = struct.unpack_from("<HII", data, 94)
        self.format, self.point_bytes, self.count = struct.unpack_from("<BHI", data, 104)
        self.is_packed = bool(self.format & 0x80)
        if minor >= 4 and len(data) >= 255:
            self.count = struct.unpack_from("<Q", data, 247)[0]


def _checked_header(data: bytes, limits: ReadingLimits) -> _Header:
    """Hold the header's counts to the bytes that are there, before anything is read by them."""
    if not data:
        raise ScanError("the file is empty; copy or export it again")
    if data[:4] != b"LASF":
        raise ScanError("the file does not begin as a LAS or LAZ does; check what it is and rename it")
    if len(data) < 227:
        raise ScanError(f"the file has {len(data)} bytes, fewer than the header of a LAS: {_DAMAGED}")
    header = _Header(data)
    if header.count == 0:
        raise ScanError("the file holds no points; export the scan again")
    if header.count > limits.points:
        raise ScanError(
            f"the file has {header.count} points, at most {limits.points} are read; thin the cloud and export it again"
        )
    if not header.header_bytes <= header.points_at <= len(data):
        raise ScanError(f"the points begin at byte {header.points_at} of {len(data)}: {_DAMAGED}")
    if header.records * 54 > header.points_at - header.header_bytes:
        raise ScanError(f"the header promises {header.records} records, more than its bytes hold: {_DAMAGED}")
    if header.is_packed:
        _check_packed(data, header, limits)
    elif header.points_at + header.count * header.point_bytes > len(data):
        there = (len(data) - header.points_at) // max(header.point_bytes, 1)
        raise ScanError(f"the file promises {header.count} points and holds {there}: {_DAMAGED}")
    return header


def _check_packed(data: bytes, header: _Header, limits: ReadingLimits) -> None:
    """Hold the table of a LAZ's chunks to its bytes; the decoder would take memory for what it promises."""
    if header.points_at + 8 > len(data):
        raise ScanError(f"the file ends before its points: {_DAMAGED}")
    ratio = header.count * header.point_bytes / len(data)
    if ratio > limits.archive_ratio and header.count * header.point_bytes > _CHUNK_BYTES:
        raise ScanError(
            f"the points are packed {ratio:.0f} times, at most {limits.archive_ratio:.0f} times is read: {_DAMAGED}"
        )
    table_at = struct.unpack_from("<q", data, header.points_at)[0]
    if table_at == -1:  # written by a program that could not go back: the place is in the last 8 bytes
        table_at = struct.unpack_from("<q", data, len(data) - 8)[0]
    if not header.points_at + 8 <= table_at <= len(data) - 8:
        raise ScanError(f"the file ends before the table of its packed points: {_DAMAGED}")
    chunks = struct.unpack_from("<I", data, table_at + 4)[0]
    # Each chunk begins with one whole point.
    if chunks == 0 or chunks * header.point_bytes > table_at - header.points_at:
        raise ScanError(f"the file promises {chunks} chunks of packed points, not what its bytes hold: {_DAMAGED}")


def _widest_chunk(data: bytes, header: _Header, laz_record: bytes) -> int:
    """Hold the chunks' own sizes to the bytes and to the count of points; return the points of the widest."""
    import lazrs  # noqa: PLC0415 - compiled, and wanted for this format alone

    stream = io.BytesIO(data)
    stream.seek(header.points_at)
    record = lazrs.LazVlr(laz_record)
    if record.item_size() != header.point_bytes:
        raise ScanError(f"packed points have {record.item_size()} bytes, and {header.point_bytes} unpacked: {_DAMAGED}")
    table = lazrs.read_chunk_table(stream, record)
    held = sum(points for points, _ in table)
    widest = max((points for points, _ in table), default=0)
    packed = sum(size for _, size in table)
    if packed > len(data) - header.points_at:
        raise ScanError(f"the packed points are said to have {packed} bytes, more than the file: {_DAMAGED}")
    if not record.uses_variable_size_chunks():
        if not 0 < record.chunk_size() <= max(_WIDEST_CHUNK_POINTS, header.count):
            raise ScanError(f"the packed points come in chunks of {record.chunk_size()}: {_DAMAGED}")
        widest = record.chunk_size()
        held = len(table) * widest
    if held < header.count:
        raise ScanError(f"the file promises {header.count} points and its chunks hold at most {held}: {_DAMAGED}")
    _check_layers(data, header, laz_record, [size for _, size in table])
    return widest


def _check_layers(data: bytes, header: _Header, laz_record: bytes, chunk_bytes: list[int]) -> None:
    """Hold the layers of each chunk to its bytes; the decoder takes memory for them before it reads any.

    Such a chunk begins with one whole point, a count of points, and the sizes of its layers: one for each part of a
    point that is packed apart (LASzip, lasreaditemcompressed_v3).
    """
    if struct.unpack_from("<H", laz_record)[0] != _LAYERED:
        return
    count = struct.unpack_from("<H", laz_record, 32)[0]
    items = [struct.unpack_from("<HH", laz_record, 34 + 6 * item) for item in range(count)]
    layers = sum(size if kind == _EXTRA_BYTES else _LAYERS_OF.get(kind, 0) for kind, size in items)
    at = header.points_at + 8
    for size in chunk_bytes:
        sizes_at = at + header.point_bytes + 4
        promised = header.point_bytes + 4 + 4 * layers
        if promised <= size:
            promised += sum(struct.unpack_from(f"<{layers}I", data, sizes_at))
        if promised > size:
            raise ScanError(f"a chunk of {size} bytes promises {promised} bytes of packed points: {_DAMAGED}")
        at += size


def _read(data: bytes, header: _Header) -> tuple[FloatArray, NDArray[np.uint8] | None, StatedUnits, FloatArray, int]:
    """Points, colours, units, steps of rounding, and how many points were withheld."""
    import laspy  # noqa: PLC0415 - only this format needs it

    part = laspy.DecompressionSelection
    wanted = part.XY_RETURNS_CHANNEL | part.Z | part.FLAGS | part.CLASSIFICATION | part.RGB
    with laspy.open(io.BytesIO(data), read_evlrs=False, decompression_selection=wanted) as reader:
        if header.is_packed:
            widest = _widest_chunk(data, header, reader.header.vlrs.get("LasZipVlr")[0].record_data)
            if widest * header.point_bytes > _CHUNK_BYTES:
                # Many at once unpacks whole chunks, however wide; one after another unpacks what is asked for.
                reader.laz_backend = (laspy.LazBackend.Lazrs,)
        scales = np.array(reader.header.scales, dtype=np.float64)
        offsets = np.array(reader.header.offsets, dtype=np.float64)
        if not (np.isfinite(scales).all() and np.isfinite(offsets).all() and scales.all()):
            raise ScanError(f"the header scales coordinates by {scales.tolist()} from {offsets.tolist()}: {_DAMAGED}")
        count = header.count
        points = np.empty((count, 3))
        has_colours = "red" in reader.header.point_format.dimension_names
        deep = np.empty((count if has_colours else 0, 3), dtype=np.uint16)
        read = kept = 0
        at_once = max(1, min(_CHUNK_POINTS, _CHUNK_BYTES // max(header.point_bytes, 1)))
        for chunk in reader.chunk_iterator(at_once):
            read += len(chunk)
            use = np.asarray(chunk.withheld) == 0
            size = int(use.sum())
            here = slice(kept, kept + size)
            for axis, name in enumerate("XYZ"):
                points[here, axis] = np.asarray(chunk[name])[use] * scales[axis] + offsets[axis]
            if has_colours:
                for axis, name in enumerate(("red", "green", "blue")):
                    deep[here, axis] = np.asarray(chunk[name])[use]
            kept += size
        if read != count:
            raise ScanError(f"the file promises {count} points, and {read} could be read: {_DAMAGED}")
        points = points[:kept]
        if not np.isfinite(points.sum()):
            raise ScanError(f"the header scales coordinates by {scales.tolist()}, beyond all numbers: {_DAMAGED}")
        return points, _eight_bit(deep[:kept]), _stated_units(reader.header.vlrs), scales, count - kept


def _eight_bit(deep: NDArray[np.uint16]) -> NDArray[np.uint8] | None:
    """Colours in 8 bits; None where there are none, or all are black, as files without colours have them."""
    most = int(deep.max(initial=0))
    if most == 0:
        return None
    return (deep >> 8 if most > 255 else deep).astype(np.uint8)


def _stated_units(records: Any) -> StatedUnits:
    """Return what the first of the file's records to state a unit says; well-known text goes before the older keys."""
    found = StatedUnits()
    for record in sorted(records, key=lambda record: record.record_id != 2112):
        if found != StatedUnits():
            break
        if record.record_id == 2112 and hasattr(record, "string"):
            found = from_well_known_text(record.string)
        elif record.record_id == 34735 and hasattr(record, "geo_keys"):
            # A key that lies in another record's table holds no short value of its own.
            found = from_geo_keys({key.id: key.value_offset for key in record.geo_keys if key.tiff_tag_location == 0})
    return found


def _settled_unit(points: FloatArray, units: StatedUnits, notes: list[Note]) -> float | None:
    """Return the one unit of all three axes, in metres; z is brought to that of x and y in place."""
    if units.in_degrees:
        extent = float(np.ptp(points[:, :2], axis=0).max())
        if extent < 0.01:  # about a kilometre on the ground
            raise ScanError(
                "the coordinates of the file are degrees of longitude and latitude; "
                "export it in a projection in meters or feet, UTM for one"
            )
        notes.append(
            Note(
                "degrees_not_believed",
                "The file says that its coordinates are degrees, and they span too much for that: not believed.",
            )
        )
        return None
    if units.across_m and units.upwards_m and abs(units.upwards_m / units.across_m - 1.0) > 1e-4:
        points[:, 2] *= units.upwards_m / units.across_m
        notes.append(
            Note(
                "heights_unit",
                f"Heights in the file are in units of {exact_length(units.upwards_m)}, and were brought to its "
                f"{exact_length(units.across_m)}.",
            )
        )
    return units.across_m
