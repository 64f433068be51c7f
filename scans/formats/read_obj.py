"""From the bytes of an OBJ, and of the files beside it, to points, triangles and colours."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from scans.errors import ScanError
from scans.formats.cut_faces import check_face_count, check_point_count, cut_faces
from scans.formats.number_text import as_text
from scans.formats.obj_faces import Faces, faces_of
from scans.formats.obj_lines import Rows, blocks_of, is_keyword, numbers_of, plain
from scans.formats.obj_materials import SideFiles, colours_of, picture_names
from scans.formats.point_columns import last_line_notes
from scans.formats.scan import ReadingLimits, Scan
from scans.log import FloatArray
from scans.messages import Note, counted

_DAMAGED = "it is cut off or damaged; copy or export the file again"
_HEAD_BYTES = 20_000
_GREY = 128


def is_obj(data: bytes) -> bool:
    """Whether a file looks like an OBJ: its first lines, comments left out, all begin with words of one.

    A file of comments only does not, nor does a table of numbers.
    """
    try:
        text = as_text(data[:_HEAD_BYTES], ReadingLimits())
    except ScanError:
        return False
    lines = plain(text).split(b"\n")[: -1 if len(data) <= _HEAD_BYTES else -2]
    words = [words[0] for line in lines if (words := line.split(None, 1))]
    return bool(words) and all(is_keyword(word) for word in words)


def read_obj(data: bytes, limits: ReadingLimits, side_files: Mapping[str, bytes] | None = None) -> Scan:
    """Return the points of an OBJ, its faces cut into triangles, and colours of its points.

    data : the file's bytes, in UTF-8 or UTF-16. limits : at most limits.points points and limits.faces triangles are
    read. side_files : what the archive holds that the OBJ came in, by name, the OBJ itself among it.

    Colours are those written after the points, as shares of 1 or to 255, and where these are not, those of the
    pictures (map_Kd) that materials lay over the faces. Where only some of the points have a colour, the others are
    grey. Lines, points as elements, normals and curves are passed over. OBJ states neither unit nor up axis. Points
    may not be finite, unless a face uses them.

    Raises ScanError, with the line where there is one, where a point or a corner is not written as such, a face
    names a point that is not there, or there are no points.
    """
    if not data:
        raise ScanError("the file is empty; copy or export it again")
    text = as_text(data, limits)
    unended = last_line_notes(text)
    found = _Found()
    for block in blocks_of(plain(text)):
        found.take_points(block.vertices)
        found.take_places(block.places)
        check_point_count(max(found.point_count, 1), limits)
        if len(block.faces.lines):
            before = found.point_count - len(block.vertices.lines), found.place_count - len(block.places.lines)
            found.faces.append(faces_of(block, *before))
            check_face_count(sum(len(faces.counts) for faces in found.faces), limits)
        found.uses += block.uses
        found.libraries += block.libraries
        found.unknown += block.unknown
    return _scan(found, data, limits, side_files or {}, unended)


@dataclass
class _Found:
    """What was read so far."""

    points: list[FloatArray] = field(default_factory=list)
    shades: list[NDArray[np.float32]] = field(default_factory=list)
    places: list[NDArray[np.float32]] = field(default_factory=list)
    faces: list[Faces] = field(default_factory=list)
    uses: list[tuple[int, str]] = field(default_factory=list)
    libraries: list[str] = field(default_factory=list)
    unknown: list[str] = field(default_factory=list)
    point_count: int = 0
    place_count: int = 0

    def take_points(self, rows: Rows) -> None:
        """Add points, x y z with a weight or not, and red, green and blue after them."""
        numbers, counts = numbers_of(rows)
        odd = np.flatnonzero((counts < 3) | (counts == 5) | (counts > 8))
        if len(odd):
            raise ScanError(
                f"line {rows.lines[odd[0]]} of the file has a point of {counts[odd[0]]} numbers, not three: {_DAMAGED}"
            )
        starts = np.cumsum(counts) - counts
        self.points.append(numbers[starts[:, None] + np.arange(3)])
        shade = np.full((len(counts), 3), np.nan, dtype=np.float32)
        has_one = counts >= 6
        with np.errstate(all="ignore"):  # numbers beyond those of 32 bits
            shade[has_one] = numbers[starts[has_one][:, None] + np.arange(3, 6)]
        self.shades.append(shade)
        self.point_count += len(counts)

    def take_places(self, rows: Rows) -> None:
        """Add places on a picture: across, and up where it is written."""
        numbers, counts = numbers_of(rows)
        if (counts == 0).any():
            line = rows.lines[np.flatnonzero(counts == 0)[0]]
            raise ScanError(f"line {line} of the file has a place on a picture without numbers: {_DAMAGED}")
        starts = np.cumsum(counts) - counts
        places = np.zeros((len(counts), 2), dtype=np.float32)
        with np.errstate(all="ignore"):
            places[:, 0] = numbers[starts]
            places[counts > 1, 1] = numbers[starts[counts > 1] + 1]
        self.places.append(places)
        self.place_count += len(counts)


def _scan(
    found: _Found, data: bytes, limits: ReadingLimits, side_files: Mapping[str, bytes], unended: tuple[Note, ...]
) -> Scan:
    if found.point_count == 0 and found.unknown:
        raise ScanError(f"the file begins with {found.unknown[0]!r}, as no OBJ does; check what it is and rename it")
    check_point_count(found.point_count, limits)
    points = np.concatenate(found.points)
    faces = _joined(found.faces)
    bad = np.flatnonzero((faces.corners < 0) | (faces.corners >= len(points)))
    if len(bad):
        line = faces.lines[np.repeat(np.arange(len(faces.counts)), faces.counts)[bad[0]]]
        raise ScanError(
            f"line {line} of the file has a face at a point that is not among its {len(points)}: {_DAMAGED}"
        )
    few = faces.lines[faces.counts < 3]
    if len(few) and unended and few[-1] == faces.lines[-1]:
        raise ScanError(f"line {few[-1]} of the file has a face of {faces.counts[-1]} corners and no end: {_DAMAGED}")
    notes = list(unended)
    triangles, _ = cut_faces(points, faces.corners, faces.counts, limits, notes)
    for word in dict.fromkeys(found.unknown):
        notes.append(
            Note("lines_passed_over", f"{found.unknown.count(word)} lines that begin with {word!r} were passed over.")
        )
        if len(notes) > 5:
            break
    colours = _colours(found, faces, data, limits, side_files, notes)
    return Scan(points, triangles, colours=colours, notes=tuple(notes))


def _joined(parts: list[Faces]) -> Faces:
    none = np.zeros(0, dtype=np.int64)
    return Faces(
        *(
            np.concatenate([none, *(getattr(part, name) for part in parts)])
            for name in ("corners", "places", "counts", "lines")
        )
    )


def _colours(
    found: _Found,
    faces: Faces,
    data: bytes,
    limits: ReadingLimits,
    side_files: Mapping[str, bytes],
    notes: list[Note],
) -> NDArray[np.uint8] | None:
    colours, has_one = _written(np.concatenate(found.shades), notes)
    if not has_one.any() and found.libraries and found.place_count:
        files = SideFiles(side_files, data)
        pictures = picture_names(found.libraries, files, limits, notes)
        places = np.concatenate(found.places).astype(np.float64)
        colours, has_one = colours_of(len(colours), places, faces, found.uses, pictures, files, notes)
    if not has_one.any():
        return None
    if not has_one.all():
        colours[~has_one] = _GREY
        notes.append(
            Note("points_gray", f"Made gray {counted(int((~has_one).sum()), 'point')} without a color in the file.")
        )
    return colours


def _written(shade: NDArray[np.float32], notes: list[Note]) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """Return the colours written after the points (N, 3), and which have one (N,)."""
    has_one: NDArray[np.bool_] = np.all(np.isfinite(shade), axis=1)
    own = shade[has_one]
    colours = np.zeros((len(shade), 3), dtype=np.uint8)
    if len(own) and not (own.min() >= 0.0 and own.max() <= 255.0):
        notes.append(Note("colours_unread", "The colors of the file are no numbers from 0 to 255, and were left out."))
        return colours, np.zeros(len(shade), dtype=bool)
    colours[has_one] = np.rint(own * (255.0 if own.max(initial=0.0) <= 1.0 else 1.0))
    return colours, has_one
