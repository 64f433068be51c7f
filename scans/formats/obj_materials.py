"""Colours of an OBJ's points from the pictures that its materials lay over its faces."""

import posixpath
import re
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from scans.errors import ScanError
from scans.formats.number_text import as_text
from scans.formats.obj_faces import Faces
from scans.formats.picture import MOST_PIXELS, opened, pixels_at
from scans.formats.scan import ReadingLimits
from scans.log import FloatArray, IntArray
from scans.messages import Note

_OPTIONS = re.compile(
    r"-(?:(?P<moved>[ost])(?:\s+[-+.\d][-+.\deE]*(?=\s)){1,3}|mm\s+\S+\s+\S+|"
    r"(?:blendu|blendv|cc|clamp|texres|bm|imfchan|type|boost)\s+\S+)\s+"
)

_MOVED = Note(
    "picture_not_moved", "The materials of the file move or scale a picture. That is not done here: colors may be off."
)


class SideFiles:
    """The files beside an OBJ in its archive."""

    def __init__(self, files: Mapping[str, bytes], obj: bytes) -> None:
        self._files = {_path("", name): content for name, content in files.items()}
        self._folder = next((posixpath.dirname(name) for name, own in self._files.items() if own == obj), "")

    def found(self, name: str) -> bytes | None:
        """Return a file by its name from the OBJ's folder, whatever its case; else the nearest of that last name.

        Names with folders of another machine thus find the file that was packed with the OBJ.
        """
        path = _path(self._folder, name)
        if path in self._files:
            return self._files[path]
        last = posixpath.basename(path)
        alike = [other for other in self._files if last and posixpath.basename(other) == last]
        alike.sort(key=lambda other: (not other.startswith(self._folder), other.count("/"), other))
        return self._files[alike[0]] if alike else None


def _path(folder: str, name: str) -> str:
    return posixpath.normpath(posixpath.join(folder, name.strip().strip('"').replace("\\", "/"))).casefold().lstrip("/")


def picture_names(libraries: list[str], files: SideFiles, limits: ReadingLimits, notes: list[Note]) -> dict[str, str]:
    """Return the name of the picture (map_Kd) of each material in the files that mtllib names."""
    pictures: dict[str, str] = {}
    for library in dict.fromkeys(libraries):
        # Names may have spaces, or be several.
        names = [library] if files.found(library) is not None else library.split()
        for name in names:
            content = files.found(name)
            if content is None:
                notes.append(
                    Note(
                        "side_file_missing",
                        f"The materials {_short(name)} are not with the file, so they give no colors.",
                    )
                )
                continue
            try:
                text = as_text(content, limits).decode("utf-8", "replace")
            except ScanError:
                notes.append(
                    Note("side_file_unread", f"The materials {_short(name)} are no text, so that they give no colors.")
                )
                continue
            pictures.update(_in_library(text, notes))
    return pictures


def _in_library(text: str, notes: list[Note]) -> dict[str, str]:
    pictures: dict[str, str] = {}
    material = ""
    for line in text.split("\n"):
        word, _, rest = line.strip().partition(" ")
        if word.lower() == "newmtl":
            material = rest.strip()
        elif word.lower() == "map_kd":
            name = rest.strip()
            while (option := _OPTIONS.match(name)) is not None:
                name = name[option.end() :]
                if option["moved"]:
                    notes.extend([_MOVED] * (_MOVED not in notes))
            if name:
                pictures[material] = name
    return pictures


def colours_of(
    point_count: int,
    places: FloatArray,
    faces: Faces,
    uses: list[tuple[int, str]],
    pictures: dict[str, str],
    files: SideFiles,
    notes: list[Note],
) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """Return colours (N, 3) of the points, and which have one (N,).

    places : (M, 2) on a picture, across and up. uses : lines and names of materials, each for the faces after it.
    pictures : their names by material. A point where faces meet has the colour at the last of its corners.
    """
    colours, has_one = np.zeros((point_count, 3), dtype=np.uint8), np.zeros(point_count, dtype=bool)
    # Before any material is named, the only one there is is meant.
    names = [next(iter(pictures)) if len(pictures) == 1 else "", *(name for _, name in uses)]
    use_of = np.searchsorted(np.array([line for line, _ in uses], dtype=np.int64), faces.lines)
    picture_of = [pictures.get(name, "") for name in names]
    kinds = {name: number for number, name in enumerate(dict.fromkeys(name for name in picture_of if name))}
    kind_of = np.array([kinds.get(name, -1) for name in picture_of])
    corner_kinds = np.repeat(kind_of[use_of], faces.counts)
    corner_kinds[(faces.places < 0) | (faces.places >= len(places))] = -1
    # Corners of one picture stand together after this, those of none first.
    order: IntArray = np.argsort(corner_kinds, kind="stable")
    ends = np.cumsum(np.bincount(corner_kinds + 1, minlength=len(kinds) + 1))
    pixels_left = MOST_PIXELS
    for name, kind in kinds.items():
        own = order[ends[kind] : ends[kind + 1]]
        if not len(own):
            continue
        content = files.found(name)
        if content is None:
            notes.append(
                Note(
                    "side_file_missing",
                    f"The picture {_short(name)} is not with the file, so it gives no colors.",
                )
            )
            continue
        picture = opened(content, _short(name), pixels_left, notes)
        if picture is not None:
            pixels_left -= picture.shape[0] * picture.shape[1]
            colours[faces.corners[own]] = pixels_at(picture, places[faces.places[own]])
            has_one[faces.corners[own]] = True
    return colours, has_one


def _short(name: str) -> str:
    return ascii(name[:60])
