"""How many things the references of a USD file make of those written in it, counted before any of them is made."""

from typing import Any

from scans.errors import ScanError

MOST_MADE = 5_000
"""References may make so many things beside those written: a scan has a few, nested doubling has no end."""

_DEEPEST = 200
_SINGLY = "export the meshes one by one, without references"


def check_arcs(layers: dict[str, Any], root: str) -> None:
    """Refuse layers, by their names, whose references would make too much; root : the name of the stage's own layer.

    References, payloads, inherits and specializes of each prim count, variants all together, sublayers too.

    Raises ScanError.
    """
    by_identifier = {layer.identifier: layer for layer in layers.values()}
    written = sum(_written(layer.pseudoRoot) for layer in layers.values())
    made = _Count(by_identifier).of(layers[root].pseudoRoot, 0)
    if made > written + MOST_MADE:
        raise ScanError(
            f"the file repeats things by references to {made if made < 10**9 else 'over a billion'} from {written}, "
            f"more than are read: {_SINGLY}"
        )


def _written(root: Any) -> int:
    """Return how many prims stand in a layer, those of variants too."""
    count, left = 0, [root]
    while left:
        prim = left.pop()
        count += 1
        left += _children(prim)
    return count


def _children(prim: Any) -> list[Any]:
    variants = [variant.primSpec for group in prim.variantSets.values() for variant in group.variants.values()]
    return [*prim.nameChildren, *variants]


class _Count:
    """Counts what is made of a prim, each prim once."""

    def __init__(self, layers: dict[str, Any]) -> None:
        self._layers = layers
        self._known: dict[tuple[str, str], int] = {}

    def of(self, prim: Any, depth: int) -> int:
        """Return how many prims one brings with it, itself counted.

        Raises ScanError where they are nested too deep, as those that draw on themselves are.
        """
        key = (prim.layer.identifier, str(prim.path))
        if key not in self._known:
            if depth > _DEEPEST:
                raise ScanError(f"things in the file are nested over {_DEEPEST} deep, or in themselves: {_SINGLY}")
            others = [*_children(prim), *self._drawn_on(prim)]
            self._known[key] = 1 + sum(self.of(other, depth + 1) for other in others)
        return self._known[key]

    def _drawn_on(self, prim: Any) -> list[Any]:
        """Return the prims that arcs of one lead to, where they are there."""
        from pxr import Sdf  # noqa: PLC0415 - a large library, for this format alone

        layer = prim.layer
        if prim == layer.pseudoRoot:
            below = [self._layer(layer, asset) for asset in layer.subLayerPaths]
            return [other.pseudoRoot for other in below if other is not None and other is not layer]
        found: list[Any] = []
        for key in ("references", "payload"):
            for arc in _items(prim, key):
                other = self._layer(layer, arc.assetPath) if arc.assetPath else layer
                if other is not None:
                    found.append(_at(other, arc.primPath or Sdf.Path(f"/{other.defaultPrim}")))
        for key in ("inheritPaths", "specializes"):
            found += [_at(layer, path) for path in _items(prim, key)]
        return [other for other in found if other is not None]

    def _layer(self, anchor: Any, asset: str) -> Any:
        return self._layers.get(anchor.ComputeAbsolutePath(asset))


def _at(layer: Any, path: Any) -> Any:
    """Return the prim at a path, or that above it which will bring it; None where nothing is written there."""
    while len(str(path)) > 1:
        prim = layer.GetPrimAtPath(path)
        if prim:
            return prim
        path = path.GetParentPath()
    return None


def _items(prim: Any, key: str) -> list[Any]:
    return list(prim.GetInfo(key).GetAppliedItems()) if prim.HasInfo(key) else []
