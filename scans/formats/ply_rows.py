"""The body of a PLY file, text or binary: columns of its elements, lists of any length among them."""

from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from scans.errors import ScanError
from scans.formats.number_text import as_text, numbers_in
from scans.formats.ply_header import Element, Header, Property
from scans.formats.point_columns import last_line_notes
from scans.formats.scan import ReadingLimits
from scans.log import FloatArray, IntArray
from scans.messages import Note

_DAMAGED = "the file is cut off or damaged; copy or export it again"
_WIDTHS = {kind: np.dtype(kind).itemsize for kind in ("i1", "u1", "i2", "u2", "i4", "u4", "f4", "f8")}
_WANTED = {"vertex", "face", "tristrips"}

Numbers = NDArray[np.generic]
Column = Numbers | tuple[IntArray, Numbers]
"""Numbers, one a row; or, of a list, how many each row has and all of them in a row."""
Columns = dict[str, Column]


def columns_of(data: bytes, header: Header, limits: ReadingLimits, notes: list[Note]) -> dict[str, Columns]:
    """Return the columns of the vertices, faces and strips of a file, which holds just what its header promises.

    Whole points that a text has beyond those promised, where it has nothing but points, are left out with a note.

    Raises ScanError where the file holds anything else.
    """
    if header.order is None:
        text = as_text(data[header.body_at :], limits)
        notes += last_line_notes(text)
        found = numbers_in(text)
        if found is None:
            raise ScanError(f"the body of the file holds what is no number: {_DAMAGED}")
        more = _surplus(found, header.elements)
        if more:
            notes.append(
                Note(
                    "points_left_out", f"{more} points beyond those that the header of the file promises were left out."
                )
            )
            found = found[: -more * len(header.elements[0].properties)]
        return _read(_Text(found), 0, header.elements)
    refusal: ScanError | None = None
    body = _Binary(data, header.order)
    for start in _starts(data, header.body_at):
        try:
            return _read(body, start, header.elements)
        except ScanError as error:
            refusal = refusal or error
    raise refusal or ScanError(_DAMAGED)


def _surplus(found: FloatArray, elements: tuple[Element, ...]) -> int:
    """Return how many whole points follow the promised ones in a text that has nothing else; 0 where it has."""
    first, *others = elements
    width = len(first.properties)
    is_plain = all(prop.count_kind is None for prop in first.properties)
    if first.name != "vertex" or not is_plain or any(other.count for other in others):
        return 0
    more, part = divmod(len(found) - width * first.count, width)
    return 0 if part else max(more, 0)


def _starts(data: bytes, at: int) -> list[int]:
    """Where a binary body may begin, the likeliest first; which it is, the length tells.

    Some programs end the header by a line end of two bytes, or of one that the first number completes to two, or
    leave an empty line before the body.
    """
    if data[at - 2 : at] == b"\r\n":
        return [at, at - 1]
    return [at, at + 1] if data[at : at + 1] == b"\n" else [at]


class _Body(Protocol):
    """What holds the numbers of a file, at places that are counted in bytes or in numbers."""

    size: int
    unit: str

    def ends_at(self, place: int) -> bool:
        """Tell whether nothing follows."""

    def width(self, kind: str) -> int:
        """Return how far it is from a number of a type to the next."""

    def length_at(self, place: int, kind: str) -> int:
        """Return the length of a list from where it is written; -1 where it is none."""

    def items(self, places: IntArray, kind: str) -> Numbers:
        """Return the numbers at places of the first of each."""

    def table(self, at: int, element: Element, lengths: dict[str, int]) -> tuple[Columns, Columns]:
        """Return all columns of rows with lists of these lengths, those of lists (rows, length), and the lengths."""


class _Text:
    def __init__(self, found: FloatArray) -> None:
        self._found = found
        self.size = len(found)
        self.unit = "numbers"

    def ends_at(self, place: int) -> bool:
        return place == self.size

    def width(self, kind: str) -> int:  # noqa: ARG002 - a number is a number
        return 1

    def length_at(self, place: int, kind: str) -> int:  # noqa: ARG002
        length = self._found[place] if place < self.size else -1.0
        return int(length) if 0 <= length <= self.size and length == int(length) else -1

    def items(self, places: IntArray, kind: str) -> Numbers:
        return _as_kind(self._found[places], kind)

    def table(self, at: int, element: Element, lengths: dict[str, int]) -> tuple[Columns, Columns]:
        width = sum(1 if prop.count_kind is None else 1 + lengths[prop.name] for prop in element.properties)
        rows = self._found[at : at + width * element.count].reshape(element.count, width)
        columns, stated, place = Columns(), Columns(), 0
        for prop in element.properties:
            if prop.count_kind is None:
                columns[prop.name] = _as_kind(rows[:, place], prop.kind)
                place += 1
                continue
            end = place + 1 + lengths[prop.name]
            stated[prop.name] = rows[:, place]
            columns[prop.name] = rows[:, place + 1 : end]
            place = end
        return columns, stated


def _as_kind(found: FloatArray, kind: str) -> Numbers:
    """Return whole numbers in the type that the header states, as a colour of 1 is near black in bytes only."""
    if kind[0] == "f" or not len(found):
        return found
    bounds = np.iinfo(kind)
    with np.errstate(invalid="ignore"):
        is_such = bounds.min <= found.min() and found.max() <= bounds.max and bool((found == np.rint(found)).all())
    return found.astype(kind) if is_such else found


class _Binary:
    def __init__(self, data: bytes, order: str) -> None:
        self._data = data
        self._order = order
        self.size = len(data)
        self.unit = "bytes"

    def ends_at(self, place: int) -> bool:
        return not self._data[place:].strip()  # some programs end a binary file by a line end

    def width(self, kind: str) -> int:
        return _WIDTHS[kind]

    def length_at(self, place: int, kind: str) -> int:
        end = place + _WIDTHS[kind]
        if end > self.size or kind[0] == "f":
            return -1
        return int.from_bytes(self._data[place:end], "little" if self._order == "<" else "big", signed=kind[0] == "i")

    def items(self, places: IntArray, kind: str) -> Numbers:
        letters = np.frombuffer(self._data, np.uint8)
        own = letters[places[:, None] + np.arange(_WIDTHS[kind])]
        return own.reshape(-1).view(self._order + kind)

    def table(self, at: int, element: Element, lengths: dict[str, int]) -> tuple[Columns, Columns]:
        fields: list[tuple[str, str, tuple[int, ...]]] = []
        for number, prop in enumerate(element.properties):
            if prop.count_kind is not None:
                fields.append((f"n{number}", self._order + prop.count_kind, ()))
            fields.append((f"c{number}", self._order + prop.kind, (lengths[prop.name],) if prop.count_kind else ()))
        rows: NDArray[np.void] = np.frombuffer(self._data, np.dtype(fields), element.count, at)
        columns = {prop.name: rows[f"c{number}"] for number, prop in enumerate(element.properties)}
        stated = {prop.name: rows[f"n{number}"] for number, prop in enumerate(element.properties) if prop.count_kind}
        return Columns(columns), Columns(stated)


def _read(body: _Body, at: int, elements: tuple[Element, ...]) -> dict[str, Columns]:
    columns: dict[str, Columns] = {}
    for element in elements:
        own, at = _element(body, at, element)
        if element.name in _WANTED:
            columns[element.name] = own
    if not body.ends_at(at):
        raise ScanError(f"the file goes on after what its header promises, by {body.size - at} {body.unit}: {_DAMAGED}")
    return columns


def _element(body: _Body, at: int, element: Element) -> tuple[Columns, int]:
    """Return an element's columns, and where the next begins; nothing is taken for counts that cannot be."""
    props = element.properties
    if not props or not element.count:
        return Columns({prop.name: _none(prop) for prop in props}), at
    least = sum(body.width(prop.count_kind or prop.kind) for prop in props)
    if at + least * element.count > body.size:
        raise ScanError(
            f"the file promises {element.count} {element.plural}, which take {least * element.count} {body.unit} or "
            f"more, and {body.size - at} are left: {_DAMAGED}"
        )
    # Most files have triangles only, so that all rows are as long as the first.
    first, end = _row(body, at, props)
    size = (end - at) * element.count
    if end > at and at + size <= body.size:
        columns, stated = body.table(at, element, first)
        if all((np.asarray(stated[name]) == length).all() for name, length in first.items()):
            for name, length in first.items():
                columns[name] = (np.full(element.count, length, np.int64), np.asarray(columns[name]).reshape(-1))
            return columns, at + size
    return _rows_one_by_one(body, at, element)


def _none(prop: Property) -> Column:
    nothing = np.zeros(0, prop.kind)
    return nothing if prop.count_kind is None else (np.zeros(0, np.int64), nothing)


def _row(body: _Body, at: int, props: tuple[Property, ...]) -> tuple[dict[str, int], int]:
    """Return the lengths of a row's lists, and where it ends; that is before it begins where it is not whole."""
    lengths = dict[str, int]()
    place = at
    for prop in props:
        if prop.count_kind is None:
            place += body.width(prop.kind)
            continue
        length = body.length_at(place, prop.count_kind)
        if length < 0:
            return {}, -1
        lengths[prop.name] = length
        place += body.width(prop.count_kind) + length * body.width(prop.kind)
    return (lengths, place) if place <= body.size else ({}, -1)


def _rows_one_by_one(body: _Body, at: int, element: Element) -> tuple[Columns, int]:
    props = element.properties
    starts = np.zeros(element.count, np.int64)
    sizes = {prop.name: np.zeros(element.count, np.int64) for prop in props if prop.count_kind is not None}
    for row in range(element.count):
        lengths, end = _row(body, at, props)
        if end < at:
            raise ScanError(f"row {row + 1} of {element.count} {element.plural} is not whole: {_DAMAGED}")
        starts[row] = at
        for name, length in lengths.items():
            sizes[name][row] = length
        at = end
    columns = Columns()
    place = starts
    for prop in props:
        if prop.count_kind is None:
            columns[prop.name] = body.items(place, prop.kind)
            place = place + body.width(prop.kind)
            continue
        size, width = sizes[prop.name], body.width(prop.kind)
        place = place + body.width(prop.count_kind)
        within = np.arange(int(size.sum())) - np.repeat(np.cumsum(size) - size, size)
        columns[prop.name] = (size, body.items(np.repeat(place, size) + within * width, prop.kind))
        place = place + size * width
    return columns, at
