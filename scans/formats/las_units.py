"""The unit that a LAS file states for its coordinates: GeoTIFF keys or well-known text.

Sources: ASPRS LAS 1.4 R15, "Coordinate Reference System Representation"; GeoTIFF 1.0 (keys 1024, 2052, 2054,
3072, 3076, 4099 and the unit codes 9001 to 9003); OGC 01-009 and ISO 19162 for well-known text (UNIT and
LENGTHUNIT): from memory.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

FOOT_M = 0.3048
SURVEY_FOOT_M = 1200 / 3937

_UNIT_CODES = {9001: 1.0, 9002: FOOT_M, 9003: SURVEY_FOOT_M}
_PIECE = re.compile(r'"(?:[^"]|"")*"|[\[\](),]|[^\[\](),"\s]+')
_DEEPEST = 40


@dataclass(frozen=True)
class StatedUnits:
    """What a file says of its unit: along x and y, and along z; None where it does not say.

    in_degrees : x and y are said to be longitude and latitude.
    """

    across_m: float | None = None
    upwards_m: float | None = None
    in_degrees: bool = False


def from_geo_keys(keys: Mapping[int, int]) -> StatedUnits:
    """Return what GeoTIFF keys state; keys : number of the key to its short value."""
    upwards = _UNIT_CODES.get(keys.get(4099, 0))
    if keys.get(1024) == 2:
        return StatedUnits(None, upwards, in_degrees=True)
    across = _UNIT_CODES.get(keys.get(3076, 0))
    if across is None and _is_utm(keys.get(3072, 0) or keys.get(3076, 0)):
        # Some write the code of the projection where the unit belongs.
        across = 1.0
    return StatedUnits(across, upwards)


def _is_utm(code: int) -> bool:
    """Whether a projection's EPSG code is one of the UTM zones, which are in metres."""
    return 32601 <= code <= 32660 or 32701 <= code <= 32760 or 25828 <= code <= 25838 or 26901 <= code <= 26923


def from_well_known_text(text: str) -> StatedUnits:
    """Return what well-known text, of either version, states; nothing where it cannot be read."""
    pieces = _PIECE.findall(text)
    root = _tree(iter(pieces), 0)
    across = _first(root, {"PROJCS", "PROJCRS", "PROJECTEDCRS", "LOCAL_CS", "ENGCRS", "ENGINEERINGCRS", "GEOCCS"})
    upwards = _first(root, {"VERT_CS", "VERTCS", "VERTCRS", "VERTICALCRS"})
    upwards_m = _unit_of(upwards) if upwards else None
    if across is not None:
        return StatedUnits(_unit_of(across), upwards_m)
    geographic = _first(root, {"GEOGCS", "GEOGCRS", "GEOGRAPHICCRS"})
    return StatedUnits(None, upwards_m, in_degrees=geographic is not None)


@dataclass
class _Node:
    """One bracket of well-known text: its keyword, its plain values, and the brackets within it."""

    keyword: str
    values: list[str]
    children: list["_Node"]


def _tree(pieces: Iterable[str], depth: int) -> _Node:
    """Read pieces up to the bracket that closes this node; too deep a nest is left flat."""
    node, last = _Node("", [], []), ""
    for piece in pieces:
        if piece in "[(":
            if depth > _DEEPEST:
                break
            child = _tree(pieces, depth + 1)
            child.keyword = last.upper()
            node.children.append(child)
            last = ""
        elif piece in "])":
            break
        elif piece != ",":
            node.values.append(piece.strip('"'))
            last = piece
    return node


def _first(node: _Node, keywords: set[str]) -> _Node | None:
    for child in node.children:
        if child.keyword in keywords:
            return child
        if (found := _first(child, keywords)) is not None:
            return found
    return None


def _unit_of(system: _Node) -> float | None:
    """Return the length unit, in metres, among a system's own brackets or within those of its axes."""
    own = [child for child in system.children if child.keyword in {"UNIT", "LENGTHUNIT"}]
    axes = [child for child in system.children if child.keyword == "AXIS"]
    own += [child for axis in axes for child in axis.children if child.keyword == "LENGTHUNIT"]
    for unit in own:
        name = unit.values[0].lower().replace("_", " ") if unit.values else ""
        # The name is trusted over the factor: "US survey foot",1.0 occurs, and means the foot.
        if "survey" in name or name in {"us foot", "foot us", "us ft", "ftus"}:
            return SURVEY_FOOT_M
        if name in {"foot", "feet", "ft", "international foot"}:
            return FOOT_M
        if name in {"metre", "meter", "metres", "meters", "m"}:
            return 1.0
        try:
            factor = float(unit.values[1])
        except (IndexError, ValueError):
            continue
        if 1e-6 < factor < 1e6:
            return factor
    return None
