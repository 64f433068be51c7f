"""Opens USD from bytes, a bare layer or a USDZ, with nothing read that is not in those bytes."""

import posixpath
from pathlib import Path
from typing import Any

from scans.errors import ScanError
from scans.formats.archives import unpacked
from scans.formats.scan import ReadingLimits
from scans.formats.usd_arcs import check_arcs

_DAMAGED = "the file is cut off or damaged; copy or export it again"
_WHOLE = "export the scan as one USDZ with all that belongs to it"
_LAYERS = (".usd", ".usda", ".usdc")


def laid_out(data: bytes, suffix: str, limits: ReadingLimits, folder: Path) -> list[str]:
    """Write the layers of a USD file into a folder; return their names, the root layer first.

    data : the file's bytes. suffix : ".usd", ".usda", ".usdc" or ".usdz", with or without the dot. The textures of a
    USDZ stay out.

    Raises ScanError where the file is none of these, or is over the limits of an archive or of text.
    """
    if not data:
        raise ScanError("the file is empty; copy or export it again")
    kind = suffix.lower().lstrip(".")
    if data[:4] == b"PK\x03\x04" or kind == "usdz":
        files = unpacked(data, limits)
        first = next(iter(files), "")
        if not first.lower().endswith(_LAYERS):
            # The specification of USDZ has the root layer as the first file.
            raise ScanError(f"the first file of the USDZ is {first[:80]!r}, and should be its USD layer: {_WHOLE}")
        layers = {name: content for name, content in files.items() if name.lower().endswith(_LAYERS)}
    else:
        layers = {"scan.usd": data}  # which of the two forms it is, the library sees by itself
    for name, content in layers.items():
        if content[:8] != b"PXR-USDC" and content[:5] != b"#usda":
            raise ScanError(f"the file {name[:80]!r} does not begin as USD does; check what it is and rename it")
        if content[:8] != b"PXR-USDC" and len(content) > limits.text_bytes:
            raise ScanError(f"the file has {len(content)} bytes of text, at most {limits.text_bytes} are read")
        path = folder / name
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
        except (OSError, ValueError) as error:
            raise ScanError(f"the USDZ names a file {name[:80]!r}, which cannot be: {_WHOLE}") from error
    return list(layers)


def opened(folder: Path, names: list[str]) -> Any:
    """Return the stage of layers in a folder, the first of them its root.

    Raises ScanError where one is damaged, draws on a file that is not among them, or repeats too much.
    """
    from pxr import Sdf, Usd  # noqa: PLC0415 - a large library, for this format alone

    layers = {name: Sdf.Layer.FindOrOpen(str(folder / name)) for name in names}
    if any(layer is None for layer in layers.values()):
        raise ScanError(f"the file could not be read as USD: {_DAMAGED}")
    for name, layer in layers.items():
        for asset in layer.GetCompositionAssetDependencies():
            if asset and posixpath.normpath(posixpath.join(posixpath.dirname(name), asset)) not in layers:
                raise ScanError(f"the file draws on another, {asset[:80]!r}, that is not in it: {_WHOLE}")
    check_arcs(layers, names[0])
    stage = Usd.Stage.Open(layers[names[0]])
    if not stage:
        raise ScanError(f"the file could not be read as USD: {_DAMAGED}")
    return stage
