"""The header of a PLY file: its order of bytes, its elements, and where its body begins."""

import re
from dataclasses import dataclass, replace

from scans.errors import ScanError
from scans.formats.cut_faces import check_face_count, check_point_count
from scans.formats.number_text import shown
from scans.formats.scan import ReadingLimits

_DAMAGED = "the file is cut off or damaged; copy or export it again"
_TYPES = {
    "char": "i1", "int8": "i1", "uchar": "u1", "uint8": "u1", "short": "i2", "int16": "i2", "ushort": "u2",
    "uint16": "u2", "int": "i4", "int32": "i4", "uint": "u4", "uint32": "u4", "float": "f4", "float32": "f4",
    "double": "f8", "float64": "f8",
}  # fmt: skip
_ORDERS = {"ascii": None, "binary_little_endian": "<", "binary_big_endian": ">"}
_MOST_HEADER_BYTES = 100_000
_MOST_OTHER_ROWS = 200_000_000
_SPLAT = {"f_dc_0", "scale_0", "rot_0"}


@dataclass(frozen=True)
class Property:
    """A number of each row, or a list of them; types as numpy names them, without the order of bytes."""

    name: str
    kind: str
    count_kind: str | None = None


@dataclass(frozen=True)
class Element:
    """Rows of one sort, such as the vertices."""

    name: str
    count: int
    properties: tuple[Property, ...] = ()

    @property
    def plural(self) -> str:
        """Its rows' name in a message."""
        return {"vertex": "points", "face": "faces"}.get(self.name, self.name)


@dataclass(frozen=True)
class Header:
    """order : of bytes, "<" or ">", None for text. body_at : the byte after the end of the header's last line."""

    order: str | None
    elements: tuple[Element, ...]
    body_at: int


def is_ply(data: bytes) -> bool:
    """Whether a file begins as a PLY does."""
    return re.match(rb"\s*ply\s*[\r\n]", data[:200]) is not None


def header_of(data: bytes, limits: ReadingLimits) -> Header:
    """Return what the header says, held to the limits.

    Raises ScanError where it is no PLY's, promises more than may be read or no points, or says that the points are
    the centres of splats.
    """
    if not data:
        raise ScanError("the file is empty; copy or export it again")
    if not is_ply(data):
        raise ScanError("the file does not begin as a PLY does; check what it is and rename it")
    end = re.search(rb"[\r\n][ \t]*end_header[ \t]*(\r\n|\n|\r|\Z)", data[:_MOST_HEADER_BYTES])
    if end is None:
        raise ScanError(f"the header of the file has no end: {_DAMAGED}")
    formats: list[str | None] = []
    elements: list[Element] = []
    for raw in re.split(rb"[\r\n]+", data[: end.start()]):
        words = raw.decode("ascii", "replace").split()
        if not words or words[0] in {"comment", "obj_info", "ply"}:
            continue
        try:
            _take(words, formats, elements)
        except (KeyError, IndexError, ValueError):
            raise ScanError(
                f"the header of the file has the line {shown(raw)}, which is no PLY's: {_DAMAGED}"
            ) from None
    if len(formats) != 1:
        raise ScanError(f"the header of the file names {len(formats)} formats, not one: {_DAMAGED}")
    _check(elements, limits)
    return Header(formats[0], tuple(elements), end.end())


def _take(words: list[str], formats: list[str | None], elements: list[Element]) -> None:
    """Add what one line of the header says to what those before it said; any error means that it is no PLY's."""
    match words:
        case ["format", name, *_]:
            formats.append(_ORDERS[name])
        case ["element", name, count]:
            if not re.fullmatch(r"[0-9]{1,18}", count):
                raise ValueError(count)
            elements.append(Element(name, int(count)))
        case ["property", "list", count_kind, kind, name]:
            elements[-1] = _with(elements[-1], Property(name, _TYPES[kind], _TYPES[count_kind]))
        case ["property", kind, name]:
            elements[-1] = _with(elements[-1], Property(name, _TYPES[kind]))
        case _:
            raise ValueError(words[0])


def _with(element: Element, new: Property) -> Element:
    return replace(element, properties=(*element.properties, new))


def _check(elements: list[Element], limits: ReadingLimits) -> None:
    names = [element.name for element in elements]
    if len(set(names)) < len(names):
        raise ScanError(f"the header of the file names an element twice: {_DAMAGED}")
    for element in elements:
        if element.name == "vertex":
            check_point_count(element.count, limits)
        elif element.name in {"face", "tristrips"}:
            check_face_count(element.count, limits)
        elif element.count > _MOST_OTHER_ROWS:
            raise ScanError(
                f"the file has {element.count} {element.plural}, at most {_MOST_OTHER_ROWS} are passed over; "
                "export it with points and faces only"
            )
        own = {prop.name for prop in element.properties}
        if len(own) < len(element.properties):
            raise ScanError(f"the header of the file names a property of its {element.plural} twice: {_DAMAGED}")
        if element.name == "vertex" and not own:
            raise ScanError("the vertices of the file have no x, y and z; export the scan again")
        if element.name == "vertex" and own >= _SPLAT:
            raise ScanError(
                "the file holds Gaussian splats, whose centres are no points of a surface; "
                "export the scan as a mesh or a point cloud"
            )
    if "vertex" not in names:
        raise ScanError("the file holds no points; export the scan again")
