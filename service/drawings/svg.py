"""Drawings as SVG 1.1: made from plain numbers, escaped, and readable by themselves.

Each shape bears a class, by which a page's style sheet may colour it otherwise, and the colours of paper, so that the
same drawing serves on a page, in print, and as a picture of its own. No script, no style, no address of another host.
"""

from collections.abc import Iterable, Sequence
from html import escape

from shapely import MultiPolygon, Polygon, make_valid, unary_union
from shapely.geometry.base import BaseGeometry

Ring = Sequence[tuple[float, float]]

PAPER = {
    "bark": {"fill": "#8b6a4c", "stroke": "#4d3622"},
    "wood": {"fill": "#e9c48d", "stroke": "#6b4423"},
    "pale": {"fill": "#efe3cf", "stroke": "#b49a77"},
    "ring": {"fill": "none", "stroke": "#a9793f"},
    "heart": {"fill": "#c4552d", "stroke": "none"},
    "figure": {"fill": "#7d5ba6", "stroke": "none"},
    "metal": {"fill": "#1d4ed8", "stroke": "#ffffff"},
    "flaw": {"fill": "#3f3f46", "stroke": "#ffffff"},
    "pith": {"fill": "#c4552d", "stroke": "#ffffff"},
    "blade": {"fill": "none", "stroke": "#b00020"},
    "bunk": {"fill": "#5b6670", "stroke": "none"},
    "shim": {"fill": "#f2b705", "stroke": "#5c4500"},
    "prop": {"fill": "#e08a2b", "stroke": "#5c3000"},
    "wanted": {"fill": "none", "stroke": "#b00020"},
    "limb": {"fill": "none", "stroke": "#6b4423"},
    "weight": {"fill": "#ffffff", "stroke": "#16211b"},
    "turn": {"fill": "none", "stroke": "#0b5d57"},
    "turn-tip": {"fill": "#0b5d57", "stroke": "none"},
    "axis": {"fill": "none", "stroke": "#9aa5a0"},
    "measure": {"fill": "none", "stroke": "#33413a"},
    "across": {"fill": "none", "stroke": "#16211b"},
    "range": {"fill": "#bcdcd3", "stroke": "#0b5d57"},
    "line": {"fill": "none", "stroke": "#0b5d57"},
    "best": {"fill": "#0b5d57", "stroke": "#ffffff"},
    "other": {"fill": "#ffffff", "stroke": "#33413a"},
    "label": {"fill": "#16211b"},
    "label-blade": {"fill": "#b00020"},
    "label-on": {"fill": "#16211b", "stroke": "#ffffff", "stroke-width": "3", "paint-order": "stroke"},
}
"""Colours on paper; pages may have others."""


class Drawing:
    """An SVG as it grows. Lengths are in its own units, about a pixel of a phone; y goes down."""

    def __init__(self, says: str, css: str) -> None:
        self._says, self._css = says, css
        self._parts: list[str] = []

    def shape(self, tag: str, css: str, **attributes: object) -> None:
        """Add a shape. Underscores in names of attributes stand for dashes."""
        self._parts.append(f"<{tag}{self._attributes(css, attributes)}/>")

    def text(self, at: tuple[float, float], words: str, css: str = "label", size: float = 13, **more: object) -> None:
        """Add a text at a place."""
        given = {"x": at[0], "y": at[1], "font_size": size, **more}
        self._parts.append(f"<text{self._attributes(css, given)}>{escape(words)}</text>")

    def line(self, start: tuple[float, float], end: tuple[float, float], css: str, width: float = 1.5) -> None:
        """Add a straight line."""
        self.shape("line", css, x1=start[0], y1=start[1], x2=end[0], y2=end[1], stroke_width=width)

    def polygon(self, shape: BaseGeometry, css: str, width: float = 1.0, **more: object) -> None:
        """Add a polygon, with its holes, or several."""
        path = path_of(shape)
        if path:
            self.shape("path", css, d=path, stroke_width=width, fill_rule="evenodd", **more)

    def svg(self, width: float, height: float) -> str:
        """Return the whole as it stands in a page."""
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="drawing {self._css}" role="img" '
            f'aria-label="{escape(self._says)}" viewBox="0 0 {_number(width)} {_number(height)}" '
            f'width="{_number(width)}" height="{_number(height)}" font-family="system-ui, sans-serif">'
            f"{''.join(self._parts)}</svg>"
        )

    @staticmethod
    def _attributes(css: str, given: dict[str, object]) -> str:
        whole = {"class": css, **PAPER.get(css, {}), **given}
        return "".join(
            f' {name.replace("_", "-")}="{escape(_number(value) if isinstance(value, float) else str(value))}"'
            for name, value in whole.items()
        )


def _number(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def path_of(shape: BaseGeometry) -> str:
    """Return a polygon or several as the data of a path; nothing of what has no area."""
    parts = [part for part in getattr(shape, "geoms", [shape]) if isinstance(part, Polygon) and not part.is_empty]
    rings = [ring for part in parts for ring in (part.exterior, *part.interiors)]
    return "".join(_ring_path(list(ring.coords)[:-1]) for ring in rings)


def _ring_path(points: Iterable[Sequence[float]]) -> str:
    return "M" + "L".join(f"{_number(x)} {_number(y)}" for x, y, *_ in points) + "Z"


def polygon_of(rings: Sequence[Ring]) -> Polygon | MultiPolygon:
    """Return a document's rings (the outer one, then its holes) as a polygon."""
    if not rings or len(rings[0]) < 3:
        return Polygon()
    return _areas(make_valid(Polygon(rings[0], [ring for ring in rings[1:] if len(ring) > 2])))


def areas_of(rings: Sequence[Ring]) -> Polygon | MultiPolygon:
    """Return rings that are each a piece or a hole, in any order, as what they cover."""
    whole: BaseGeometry = Polygon()
    for ring in sorted((Polygon(ring) for ring in rings if len(ring) > 2), key=lambda ring: -ring.area):
        whole = whole.symmetric_difference(make_valid(ring))
    return _areas(whole)


def _areas(shape: BaseGeometry) -> Polygon | MultiPolygon:
    if isinstance(shape, (Polygon, MultiPolygon)):
        return shape
    parts = [part for part in getattr(shape, "geoms", []) if isinstance(part, (Polygon, MultiPolygon))]
    joined = unary_union(parts)
    return joined if isinstance(joined, (Polygon, MultiPolygon)) else Polygon()


def spread(wanted: Sequence[float], apart: float, low: float, high: float) -> list[float]:
    """Return places near those wanted (rising), `apart` from one another, within bounds as far as there is room."""
    places: list[float] = []
    for place in wanted:
        places.append(max(place, places[-1] + apart if places else low))
    top = high
    for at in range(len(places) - 1, -1, -1):
        places[at] = min(places[at], top)
        top = places[at] - apart
    return places
