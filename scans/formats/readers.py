"""From the bytes of a scan file of any kind to its points and faces. No geometry is done here.

The reader is picked by the file's ending, and refuses content that is of another.
"""

import posixpath
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from scans.errors import ScanError
from scans.formats.archives import unpacked
from scans.formats.finite_points import only_finite
from scans.formats.ply_header import is_ply
from scans.formats.read_3mf import is_3mf, read_3mf
from scans.formats.read_e57 import read_e57
from scans.formats.read_gltf import is_glb, is_gltf, read_gltf
from scans.formats.read_las import read_las
from scans.formats.read_obj import is_obj, read_obj
from scans.formats.read_off import is_off, read_off
from scans.formats.read_ply import read_ply
from scans.formats.read_stl import is_binary_stl, read_stl
from scans.formats.read_usd import read_usd
from scans.formats.read_xyz import read_xyz
from scans.formats.scan import ReadingLimits, Scan

_DAMAGED = "the file is cut off or damaged; copy or export it again"
_EMPTY = "the file is empty; copy or export it again"
_EXPORT = "export the scan as PLY, OBJ, STL, OFF, GLB, 3MF, USDZ, LAS, LAZ, E57, PCD or XYZ"
_USUAL_LIMITS = ReadingLimits()


@dataclass(frozen=True)
class _Format:
    """A format: its name with its article, the endings that it comes under, and how its bytes are known and read."""

    name: str
    endings: tuple[str, ...]
    looks: Callable[[bytes], bool]
    read: Callable[[bytes, str, ReadingLimits, Mapping[str, bytes]], Scan]


def read_scan(data: bytes, suffix: str, limits: ReadingLimits = _USUAL_LIMITS) -> Scan:
    """Return what a file of a scan holds, in the file's own unit and axes; all points are finite.

    data : the file's bytes.
    suffix : its ending, with or without the dot, in either case: ply, obj, stl, off, glb, gltf, 3mf, usd, usda,
    usdc, usdz, las, laz, e57, xyz, txt, csv, pts, asc, pcd, or zip of one of these with its side files.
    limits : what is over these is refused before memory is taken for it.

    What the bytes are must be what the ending says, so that nothing is read as what it is not.

    Raises ScanError, in one line, where the ending is not known or not that of the content, or the file is empty,
    damaged, too large or holds no points.
    """
    ending = _ending(suffix)
    if not data or data.isspace():
        raise ScanError(_EMPTY)
    if ending == "zip":
        return _read_zip(data, limits)
    return _read_one(data, ending, limits, {})


def _ending(name: str) -> str:
    return name.strip().lower().rpartition(".")[2]


def _read_one(data: bytes, ending: str, limits: ReadingLimits, side_files: Mapping[str, bytes]) -> Scan:
    """Read one file that is no archive of others."""
    own = next((kind for kind in _FORMATS if ending in kind.endings), None)
    if own is None or not own.looks(data):
        # Where nothing else is known in the bytes either, the reader says best what is wrong with them.
        _refuse_other(data, ending, own)
    if own is None:
        raise ScanError(f"the file's ending is .{ending or '(none)'}, which is not read; {_EXPORT}")
    try:
        scan = only_finite(own.read(data, ending, limits, side_files))
    except ScanError:
        raise
    except MemoryError:
        raise ScanError(f"the file asks for more memory than there is: {_DAMAGED}") from None
    except Exception as error:
        # Libraries raise whatever they meet; all of it means that the file cannot be read.
        kind = type(error).__name__
        raise ScanError(f"the file could not be read as {ending.upper()} ({kind}): {_DAMAGED}") from error
    if not len(scan.points):
        raise ScanError("the file holds no points; export the scan again")
    return scan


def _refuse_other(data: bytes, ending: str, own: _Format | None) -> None:
    """Refuse bytes that are known to be something else than the ending says."""
    said = f"the file's ending is .{ending or '(none)'}, but"
    other = next((kind for kind in _FORMATS if kind is not own and kind.looks(data)), None)
    if other is not None and other.looks is _is_zip:
        raise ScanError(f"{said} it is a zip archive; rename it to .zip")
    if other is not None:
        raise ScanError(f"{said} it is {other.name}; rename it to .{other.endings[0]}")
    for beginning, what in _NO_SCANS:
        if beginning.match(data[:2000]):
            raise ScanError(f"{said} it is {what}")


def _read_zip(data: bytes, limits: ReadingLimits) -> Scan:
    """Read the one scan in an archive, with its materials, pictures and buffers."""
    if not _is_zip(data):
        _refuse_other(data, "zip", None)
    files = unpacked(data, limits)
    if is_3mf(files):
        return _read_one(data, "3mf", limits, {})
    seen = {name: content for name, content in files.items() if not _is_hidden(name)}
    scans = [name for name in seen if _ending_in_archive(name) in _ENDINGS]
    # Beside a scan, a text tells of it; alone it may be a table of points.
    tables = [name for name in scans if _ending_in_archive(name) in {"txt", "csv"}]
    if len(tables) < len(scans):
        scans = [name for name in scans if name not in tables]
    if not scans:
        names = _listed(list(seen)) if seen else "nothing"
        raise ScanError(f"the archive holds no scan that is read, but {names}; {_EXPORT}")
    if len(scans) > 1:
        raise ScanError(f"the archive holds {len(scans)} scans, {_listed(scans)}: unpack it and give one of them")
    name = scans[0]
    content = seen[name]
    if not content or content.isspace():
        raise ScanError(f"{_listed([name])} in the archive is empty; pack or export it again")
    ending, folder = _ending_in_archive(name), posixpath.dirname(name)
    if ending == "gltf" and folder:
        # It names its buffers from its own folder; another folder may hold some of the same names.
        seen = {other.removeprefix(f"{folder}/"): content for other, content in seen.items()}
    return _read_one(content, ending, limits, seen)


def _is_hidden(name: str) -> bool:
    """Whether a file of an archive is one that systems put beside others for themselves."""
    steps = name.split("/")
    return "__MACOSX" in steps or any(step.startswith(".") for step in steps)


def _ending_in_archive(name: str) -> str:
    return posixpath.splitext(name)[1].lower().lstrip(".")


def _listed(names: list[str], most: int = 5) -> str:
    """Return names for a line, whatever is in them."""
    shown = ", ".join(repr(name[-60:]) for name in names[:most])
    return shown if len(names) <= most else f"{shown} and {len(names) - most} more"


def _is_zip(data: bytes) -> bool:
    return data.startswith((b"PK\x03\x04", b"PK\x05\x06"))


def _is_las(data: bytes) -> bool:
    return data.startswith(b"LASF")


def _is_e57(data: bytes) -> bool:
    return data.startswith(b"ASTM-E57")


def _is_usd(data: bytes) -> bool:
    return data.startswith((b"PXR-USDC", b"#usda"))


def _is_stl(data: bytes) -> bool:
    return is_binary_stl(data) or re.match(rb"\s*solid\b[^\0]*?\bfacet\s+normal\b", data[:2000]) is not None


def _is_pcd(data: bytes) -> bool:
    from scans.formats.read_pcd import is_pcd  # noqa: PLC0415 - brings a compiler along

    return is_pcd(data)


def _read_pcd(data: bytes, limits: ReadingLimits) -> Scan:
    from scans.formats.read_pcd import read_pcd  # noqa: PLC0415 - brings a compiler along

    return read_pcd(data, limits)


def _never(_data: bytes) -> bool:
    """Tables of numbers have no beginning to know them by."""
    return False


_FORMATS = (
    _Format("a GLB", ("glb",), is_glb, lambda data, _, limits, sides: read_gltf(data, limits, sides)),
    _Format("a LAS or LAZ", ("las", "laz"), _is_las, lambda data, _, limits, __: read_las(data, limits)),
    _Format("an E57", ("e57",), _is_e57, lambda data, _, limits, __: read_e57(data, limits)),
    _Format("a USD", ("usd", "usda", "usdc"), _is_usd, lambda data, end, limits, _: read_usd(data, end, limits)),
    _Format("a USDZ", ("usdz",), _is_zip, lambda data, end, limits, _: read_usd(data, end, limits)),
    _Format("a 3MF", ("3mf",), _is_zip, lambda data, _, limits, __: read_3mf(data, limits)),
    _Format("a PLY", ("ply",), is_ply, lambda data, _, limits, __: read_ply(data, limits)),
    _Format("an OFF", ("off",), is_off, lambda data, _, limits, __: read_off(data, limits)),
    _Format("a PCD", ("pcd",), _is_pcd, lambda data, _, limits, __: _read_pcd(data, limits)),
    _Format("a glTF", ("gltf",), is_gltf, lambda data, _, limits, sides: read_gltf(data, limits, sides)),
    _Format("an STL", ("stl",), _is_stl, lambda data, _, limits, __: read_stl(data, limits)),
    _Format("an OBJ", ("obj",), is_obj, lambda data, _, limits, sides: read_obj(data, limits, sides)),
    _Format(
        "a table of points",
        ("xyz", "txt", "csv", "pts", "asc"),
        _never,
        lambda data, end, limits, _: read_xyz(data, limits, end),
    ),
)
"""In the order in which bytes are held to them: words that only one has before those that others may have."""

_ENDINGS = frozenset(ending for kind in _FORMATS for ending in kind.endings)

_NO_SCANS = tuple(
    (re.compile(beginning, re.IGNORECASE), what)
    for beginning, what in (
        (
            rb"(\xef\xbb\xbf)?\s*(<!--.{0,1000}?-->\s*)*<(!doctype\s+html|html|head|body)\b",
            "a page of the web (HTML), as servers send where a file is missing or needs a login; download it again",
        ),
        (
            rb"version https://git-lfs",
            "a Git LFS pointer, which only names the file that is meant; fetch that file with git lfs pull",
        ),
        (rb"\x1f\x8b|BZh|7z\xbc\xaf|Rar!|\xfd7zXZ", f"a packed archive that is not read; unpack it, or {_EXPORT}"),
        (rb"\x89PNG|\xff\xd8\xff|GIF8|RIFF....WEBP", f"a picture and no scan; {_EXPORT}"),
        (rb"%PDF", f"a PDF and no scan; {_EXPORT}"),
    )
)
"""What files often are that are named as scans, by how they begin."""
