"""From the bytes of a 3MF, all that it builds in its place, to points and triangles."""

import posixpath
from collections.abc import Iterable

import numpy as np

from scans.errors import ScanError
from scans.formats.archives import unpacked
from scans.formats.model_3mf import DAMAGED, Body, Model, Use, read_xml
from scans.formats.scan import ReadingLimits, Scan
from scans.log import FloatArray, IntArray
from scans.messages import Note

_MODEL_KIND = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
_MOST_DEEP = 50
_MOST_INSTANCES = 100_000
_SUPPORTS_LEFT_OUT = Note("supports_left_out", "Supports in the file were left out.")
_SUPPORTS = {"support", "solidsupport"}


def is_3mf(names: Iterable[str]) -> bool:
    """Whether the files of an archive, by their names, are those of a 3MF."""
    lower = {name.lower() for name in names}
    return "[content_types].xml" in lower and any(name.endswith(".model") for name in lower)


def read_3mf(data: bytes, limits: ReadingLimits) -> Scan:
    """Return all objects that a 3MF builds as one scan, each where it is built; z is up, in the unit that it states.

    data : the file's bytes. limits : those of an archive, and at most limits.points points and limits.faces triangles,
    counted for each use of an object.

    Components, also of other model parts of the file, and transforms are followed; triangles under a mirroring one
    are turned, which is common practice, no source. Supports are left out. Colours are not read. Layout and meaning:
    3MF Consortium, core specification 1.3 and production extension, from memory.

    Raises ScanError where the archive or its XML is damaged, a triangle names no point or a use no object, the file
    needs an extension that is not read, or it builds nothing.
    """
    files = unpacked(data, limits)
    if not is_3mf(files):
        raise ScanError("the archive holds no model of a 3MF; check what the file is and rename it")
    assembly = _Assembly(files, limits)
    root = _root(files, limits)
    model = assembly.model(root)
    uses = model.built
    if not uses:
        inner = {use.number for body in model.bodies.values() for use in body.uses if not use.part}
        flat = np.vstack([np.eye(3), np.zeros((1, 3))])
        uses = [Use("", number, flat) for number in model.bodies if number not in inner]
        assembly.notes.append(
            Note("all_objects_read", "The file builds none of its objects, and all of them were read.")
        )
    for use in uses:
        assembly.add(use, root, np.eye(4), 0)
    if not assembly.points:
        raise ScanError("the file builds no triangles; export the scan again")
    if len(assembly.points) > 1:
        assembly.notes.append(Note("parts_joined", f"The file holds {len(assembly.points)} parts, read as one."))
    return Scan(
        np.concatenate(assembly.points),
        np.concatenate(assembly.faces),
        unit_m=model.unit_m,
        up="z",
        notes=tuple(assembly.notes),
    )


def _root(files: dict[str, bytes], limits: ReadingLimits) -> str:
    """Return the name of the model part that the archive begins with."""
    targets: list[str] = []

    def start(tag: str, given: dict[str, str]) -> None:
        if tag.endswith(" Relationship") and given.get("Type") == _MODEL_KIND:
            targets.append(posixpath.normpath(given.get("Target", "").lstrip("/")))

    relations = next((content for name, content in files.items() if name.lower() == "_rels/.rels"), None)
    if relations is not None:
        read_xml(relations, limits, start)
    if not targets:
        targets = [name for name in files if name.lower().endswith(".model")]
    return targets[0]


class _Assembly:
    """Points and triangles of objects in their places, as they are put together."""

    def __init__(self, files: dict[str, bytes], limits: ReadingLimits) -> None:
        self._files = {name.lower(): content for name, content in files.items()}
        self._limits = limits
        self._models: dict[str, Model] = {}
        self._point_count = self._face_count = self._instances = 0
        self.points: list[FloatArray] = []
        self.faces: list[IntArray] = []
        self.notes: list[Note] = []

    def model(self, name: str) -> Model:
        """Return a model part by its name in the archive, read once."""
        key = name.lower()
        if key not in self._models:
            if key not in self._files:
                raise ScanError(f"the file draws on a part {name[:80]!r} that is not in it: {DAMAGED}")
            model = self._models[key] = Model(self._files[key], self._limits)
            if model.unit_m != next(iter(self._models.values())).unit_m:
                raise ScanError(f"the parts of the file are in different units, that of {name[:80]!r} is another")
        return self._models[key]

    def add(self, use: Use, part: str, above: FloatArray, depth: int) -> None:
        """Put an object, and what it consists of, in its place; above : the matrix (4, 4) for rows around it."""
        self._instances += 1
        if depth > _MOST_DEEP or self._instances > _MOST_INSTANCES:
            raise ScanError(f"objects of the file consist of one another without end: {DAMAGED}")
        part = use.part or part
        body = self.model(part).bodies.get(use.number)
        if body is None:
            raise ScanError(f"the file uses an object {use.number[:20]!r} that is not in it: {DAMAGED}")
        if body.kind in _SUPPORTS:
            if _SUPPORTS_LEFT_OUT not in self.notes:
                self.notes.append(_SUPPORTS_LEFT_OUT)
            return
        own = np.eye(4)
        own[:, :3] = use.matrix
        with np.errstate(all="ignore"):
            matrix = own @ above
        for inner in body.uses:
            self.add(inner, part, matrix, depth + 1)
        if len(body.corners):
            self._place(body, matrix)

    def _place(self, body: Body, matrix: FloatArray) -> None:
        faces, count = body.faces(), len(body.places) // 3
        if int(faces.max()) >= count:
            raise ScanError(
                f"a triangle of the file names point {int(faces.max())}, and its mesh has {count}: {DAMAGED}"
            )
        for total, most, name in (
            (self._point_count + count, self._limits.points, "points"),
            (self._face_count + len(faces), self._limits.faces, "faces"),
        ):
            if total > most:
                raise ScanError(f"the file has {total} {name}, at most {most} are read; thin it and export it again")
        with np.errstate(all="ignore"):
            self.points.append(body.points() @ matrix[:3, :3] + matrix[3, :3])
            is_mirrored = bool(np.linalg.det(matrix[:3, :3]) < 0.0)
        self.faces.append((faces[:, ::-1] if is_mirrored else faces) + self._point_count)
        self._point_count += count
        self._face_count += len(faces)
