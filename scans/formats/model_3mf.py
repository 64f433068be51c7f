"""One model part of a 3MF: its objects, what they are made of, and what is built, from XML that may do no more."""

import math
from array import array
from collections.abc import Callable
from dataclasses import dataclass, field
from xml.parsers import expat

import numpy as np

from scans.errors import ScanError
from scans.formats.scan import ReadingLimits
from scans.log import FloatArray, IntArray

DAMAGED = "the file is cut off or damaged; copy or export it again"
_CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
_PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
_HARMLESS = {
    _CORE,
    _PRODUCTION,
    "http://schemas.microsoft.com/3dmanufacturing/material/2015/02",
    "http://schemas.microsoft.com/3dmanufacturing/slice/2015/07",
}
"""Extensions that are read, or that leave triangles as they are."""
_UNITS_M = {
    "micron": 1e-6, "millimeter": 1e-3, "centimeter": 1e-2, "inch": 0.0254, "foot": 0.3048, "meter": 1.0,
}  # fmt: skip
_MOST_USES = 100_000


@dataclass(frozen=True)
class Use:
    """An object in its place: part (empty for the one that names it) and number, and the matrix (4, 3) for rows."""

    part: str
    number: str
    matrix: FloatArray


@dataclass
class Body:
    """An object: its kind, and its mesh as numbers in a row or the uses that it consists of."""

    kind: str
    places: "array[float]" = field(default_factory=lambda: array("d"))
    corners: "array[int]" = field(default_factory=lambda: array("q"))
    uses: list[Use] = field(default_factory=list)

    def points(self) -> FloatArray:
        """Return the mesh's points (N, 3)."""
        return np.array(self.places, dtype=np.float64).reshape(-1, 3)

    def faces(self) -> IntArray:
        """Return the mesh's triangles (F, 3)."""
        return np.array(self.corners, dtype=np.int64).reshape(-1, 3)


class Model:
    """What a model part says: unit_m, its objects by number, and what is built of them."""

    def __init__(self, data: bytes, limits: ReadingLimits) -> None:
        self.unit_m = _UNITS_M["millimeter"]
        self.bodies: dict[str, Body] = {}
        self.built: list[Use] = []
        self._limits = limits
        self._body: Body | None = None
        self._uses = 0
        self._names: dict[str, str] = {}
        self._depth = 0
        read_xml(data, limits, self._start, self._namespace)

    def _namespace(self, prefix: str | None, address: str) -> None:
        self._names[prefix or ""] = address

    def _start(self, tag: str, given: dict[str, str]) -> None:
        self._depth += 1
        if self._depth == 1:
            self._begin(tag, given)
            return
        if not tag.startswith(_CORE):
            return
        name = tag.rpartition(" ")[2]
        if name == "vertex":
            if self._body is not None:
                self._body.places.extend([_number(given, axis) for axis in "xyz"])
                if len(self._body.places) > 3 * self._limits.points:
                    raise ScanError(f"the file has more than the {self._limits.points} points that are read; thin it")
        elif name == "triangle":
            if self._body is not None:
                self._body.corners.extend([_whole(given, key) for key in ("v1", "v2", "v3")])
                if len(self._body.corners) > 3 * self._limits.faces:
                    raise ScanError(f"the file has more than the {self._limits.faces} faces that are read; thin it")
        elif name == "object":
            number = given.get("id", "")
            if number in self.bodies:
                raise ScanError(f"the file has two objects of number {number[:20]!r}: {DAMAGED}")
            self._body = self.bodies[number] = Body(given.get("type", "model"))
        elif name == "component":
            if self._body is not None:
                self._body.uses.append(self._use(given))
        elif name == "item":
            self.built.append(self._use(given))

    def _begin(self, tag: str, given: dict[str, str]) -> None:
        if tag != f"{_CORE} model":
            raise ScanError(f"a model of the file begins as {tag[-80:]!r}, and no 3MF does: {DAMAGED}")
        unit = given.get("unit", "millimeter")
        if unit not in _UNITS_M:
            raise ScanError(f"the file states the unit {unit[:40]!r}, which no 3MF has: {DAMAGED}")
        self.unit_m = _UNITS_M[unit]
        needed = {self._names.get(prefix, prefix) for prefix in given.get("requiredextensions", "").split()}
        unread = sorted(needed - _HARMLESS)
        if unread:
            raise ScanError(
                f"the file needs {', '.join(unread)[:300]}, which is not read; export it as plain 3MF, or as PLY"
            )

    def _use(self, given: dict[str, str]) -> Use:
        self._uses += 1
        if self._uses > _MOST_USES:
            raise ScanError(f"the file puts together more than {_MOST_USES} parts; export it as one mesh")
        words = given.get("transform", "1 0 0 0 1 0 0 0 1 0 0 0").split()
        if len(words) != 12:
            raise ScanError(f"a transform of the file has {len(words)} numbers, not 12: {DAMAGED}")
        matrix = np.array([_number({"transform": word}, "transform") for word in words]).reshape(4, 3)
        return Use(given.get(f"{_PRODUCTION} path", "").lstrip("/"), given.get("objectid", ""), matrix)


def read_xml(
    data: bytes,
    limits: ReadingLimits,
    start: Callable[[str, dict[str, str]], None],
    namespace: Callable[[str | None, str], None] | None = None,
) -> None:
    """Call `start` with the name ("namespace name") and attributes of each element, and hold none of them.

    A document type, and so any entity, is refused before it can stand for anything.

    Raises ScanError where the bytes are no whole XML, or more than may be read.
    """
    if len(data) > limits.text_bytes:
        raise ScanError(f"the file has {len(data)} bytes of text, at most {limits.text_bytes} are read; thin it")
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.StartElementHandler = start
    parser.StartDoctypeDeclHandler = _refuse_type
    if namespace is not None:
        parser.StartNamespaceDeclHandler = namespace
    try:
        parser.Parse(data, True)
    except ScanError:
        raise
    except (expat.ExpatError, ValueError, LookupError) as error:
        raise ScanError(f"the XML of the file cannot be read ({str(error)[:80]}): {DAMAGED}") from error


def _refuse_type(name: str, _system: str | None, _public: str | None, _has_subset: bool) -> None:
    raise ScanError(f"the XML of the file declares a document type, {name[:40]!r}, which no 3MF may; do not trust it")


def _number(given: dict[str, str], key: str) -> float:
    word = given.get(key, "")
    try:
        # Python reads 1_0 as 10, and digits of all scripts.
        found = float(word) if "_" not in word and word.isascii() else math.nan
    except ValueError:
        found = math.nan
    if not math.isfinite(found):
        raise ScanError(f"{key} in the file is {word[:40]!r}, no number: {DAMAGED}")
    return found


def _whole(given: dict[str, str], key: str) -> int:
    word = given.get(key, "").strip()
    if not (word.isascii() and word.isdigit() and len(word) < 16):
        raise ScanError(f"{key} of a triangle in the file is {word[:40]!r}, no whole number: {DAMAGED}")
    return int(word)
