"""Which column of a table of points is what: by the names above it, else by how such tables are usually laid out."""

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scans.errors import ScanError
from scans.log import FloatArray
from scans.messages import Note

_NAMES = {
    "x": ("x", "xcoord", "xcoordinate", "easting", "east"),
    "y": ("y", "ycoord", "ycoordinate", "northing", "north"),
    "z": ("z", "zcoord", "zcoordinate", "elevation", "height"),
    "r": ("r", "red"),
    "g": ("g", "green"),
    "b": ("b", "blue"),
    "nx": ("nx", "normalx"),
    "ny": ("ny", "normaly"),
    "nz": ("nz", "normalz"),
}
"""Names of columns, the plainest first; letters alone count."""

_DEGREES = {"lat", "latitude", "lon", "long", "longitude"}
_UNITS_M = {"m": 1.0, "cm": 0.01, "mm": 0.001, "ft": 0.3048, "in": 0.0254}
_USUAL: dict[int, tuple[tuple[int | None, int | None], ...]] = {
    6: ((None, 3), (3, None)),
    7: ((None, 3), (4, None), (3, None)),
    9: ((3, 6), (6, 3)),
    10: ((4, 7), (3, 7), (3, 6), (6, 3)),
}
"""For so many columns, where three of colour and three of normal may begin, in the order in which they are tried."""


@dataclass(frozen=True)
class Columns:
    """Which columns hold places, colours and normals; the unit that names state; whether names did; what is odd."""

    places: tuple[int, ...] = (0, 1, 2)
    colours: tuple[int, ...] | None = None
    normals: tuple[int, ...] | None = None
    unit_m: float | None = None
    is_named: bool = False
    notes: tuple[Note, ...] = ()


def named_columns(words: list[str]) -> Columns | None:
    """Return what the words of a header name; None where x, y and z are not among them.

    words : one for each column, as "X", "Easting [m]" or "Red".

    Raises ScanError where they name degrees, or the same column twice.
    """
    plain = [re.sub(r"[^a-z]", "", re.sub(r"[\[(].*", "", word.lower())) for word in words]
    if set(plain) & _DEGREES:
        raise ScanError("the columns of the file are degrees of longitude and latitude; export meters or feet, UTM say")
    at: dict[str, int] = {}
    for kind, names in _NAMES.items():
        name = next((name for name in names if name in plain), None)
        if name is not None:
            if plain.count(name) > 1:
                raise ScanError(f"the header of the file names {name} twice; keep one of these columns")
            at[kind] = plain.index(name)
    if not {"x", "y", "z"} <= set(at):
        return None
    units = {re.sub(r".*[\[(]|[\])].*", "", words[at[axis]].lower()).strip() for axis in "xyz"}
    unit = units.pop() if len(units) == 1 else ""
    return Columns(
        (at["x"], at["y"], at["z"]),
        (at["r"], at["g"], at["b"]) if {"r", "g", "b"} <= set(at) else None,
        (at["nx"], at["ny"], at["nz"]) if {"nx", "ny", "nz"} <= set(at) else None,
        _UNITS_M.get(unit) if any("[" in words[at[axis]] or "(" in words[at[axis]] for axis in "xyz") else None,
        is_named=True,
    )


def usual_columns(table: FloatArray, is_intensity_first: bool) -> Columns:
    """Return what the columns of a table (N, C) without names are, from their count and what stands in them.

    Colours are whole numbers from 0 to 255 or these divided by 255, normals are one long (or 0 where there is none).
    Seven columns are x y z, intensity, colour or x y z, colour, intensity; is_intensity_first : the one to take where
    both would do.
    """
    count = table.shape[1]
    if count <= 4:
        return Columns()
    ways = [
        (colour, normal)
        for colour, normal in _USUAL.get(count, ())
        if (colour is None or is_colour(table[:, colour : colour + 3]))
        and (normal is None or _is_normal(table[:, normal : normal + 3]))
    ]
    if not ways:
        return Columns(notes=(_not_known(count),))
    notes: tuple[Note, ...] = ()
    colour, normal = ways[0]
    if ways == [(4, None), (3, None)]:
        # An intensity, or how opaque a point is, is often the same everywhere; colours are not.
        is_first, is_last = (bool(np.ptp(table[:, at]) == 0.0) for at in (3, 6))
        colour = 4 if (is_first if is_first != is_last else is_intensity_first) else 3
        if is_first == is_last:
            taken = f"Columns {colour + 1} to {colour + 3} of the file were taken for its colors; others could be."
            notes = (Note("columns_guessed", taken),)
    return Columns(
        colours=None if colour is None else (colour, colour + 1, colour + 2),
        normals=None if normal is None else (normal, normal + 1, normal + 2),
        notes=notes,
    )


def is_colour(found: NDArray[np.floating]) -> bool:
    """Whether columns hold whole numbers from 0 to 255, or these divided by 255."""
    if not ((found >= 0.0) & (found <= 255.0)).all():
        return False
    shade = found * 255.0 if found.max() <= 1.0 and (found != np.rint(found)).any() else found
    # Shares of 1 with four decimals are 0.013 off at most; of what is no colour, 24 of 25 are further.
    return bool((np.abs(shade - np.rint(shade)) < (0.02 if shade is not found else 1e-9)).all())


def _is_normal(found: FloatArray) -> bool:
    with np.errstate(all="ignore"):
        size = np.linalg.norm(found, axis=1)
    return bool(((np.abs(size - 1.0) < 0.02) | (size == 0.0)).all() and size.any())


def _not_known(count: int) -> Note:
    return Note("columns_unknown", f"The file does not say what its columns 4 to {count} are: they were left out.")
