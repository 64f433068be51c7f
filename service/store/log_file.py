"""A log that was read, as one file: its closed meshes, hearts, forks and doubt, and in words where each came from.

So a scan is read once, and every plan of it begins with its solid.
"""

import io
import json
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path
from typing import Any, Final
from zipfile import BadZipFile

import numpy as np
from numpy.typing import NDArray

from optimizer.documents.plan import Mark, Source
from optimizer.wood.woods import UNKNOWN_NAME, find_wood, unknown_wood
from scans.log import Fork, Log, Solid, SurfaceColours, SurfaceDoubt, WalkSeen
from scans.messages import kept_note
from service.typed.log_reading import LogRead

VERSION: Final = 4
"""A log that was kept in another form is read again from its own file."""
_DOUBT = ("outer_ways", "outer_modes_m", "wood_ways", "wood_modes_m")
_FORK = ("crotch_m", "normal", "direction")
_WORDS = ("bark_on", "bark_ratio", "end_trim_m", "cost", "species_from", "bark_from", "end_trim_from")
_LATER_WORDS = ("haul", "fee_received")
"""Amounts that files of this version may lack: then they are 0."""

Arrays = dict[str, NDArray[Any]]


def pack_log(read: LogRead) -> bytes:
    """Return a log as a file: arrays as NumPy keeps them (npz), the rest as JSON among them."""
    log = read.log
    arrays: Arrays = {**_solid_arrays("outer", log.outer), "scan_to_log": log.scan_to_log}
    if log.wood is not log.outer:
        arrays |= _solid_arrays("wood", log.wood)
    arrays |= {f"heart_{k}": line for k, line in enumerate(log.hearts)}
    for k, fork in enumerate(log.forks):
        arrays |= {f"fork_{k}_{name}": getattr(fork, name) for name in _FORK}
        arrays[f"fork_{k}_sizes_m"] = np.array([fork.diameter_m, fork.below_m, fork.above_m])
    if log.face_seen is not None:
        arrays["face_seen"] = log.face_seen
    if log.doubt is not None:
        arrays |= {f"doubt_{name}": getattr(log.doubt, name) for name in _DOUBT}
    if log.colours is not None:
        arrays |= {"colours_rgb": log.colours.rgb, "colours_known": log.colours.known}
    words = {
        "version": VERSION,
        "name": log.name,
        "bark_thickness_m": log.bark_thickness_m,
        "heart_radius_m": log.heart_radius_m,
        "hearts": len(log.hearts),
        "forks": len(log.forks),
        "scale_spread": None if log.doubt is None else log.doubt.scale_spread,
        "doubt_kinds": () if log.doubt is None else log.doubt.kinds,
        "doubt_means": () if log.doubt is None else log.doubt.means,
        "walks": [asdict(walk) for walk in log.walks],
        "wood": read.wood.name,
        "source": read.source.model_dump(),
        "warnings": [asdict(note) for note in read.warnings],
        "marks": [mark.model_dump() for mark in read.marks],
        **{name: getattr(read, name) for name in (*_WORDS, *_LATER_WORDS)},
    }
    arrays["words"] = np.frombuffer(json.dumps(words).encode(), dtype=np.uint8)
    stream = io.BytesIO()
    np.savez(stream, allow_pickle=False, **arrays)
    return stream.getvalue()


def unpack_log(data: bytes) -> LogRead:
    """Return the log of a file that `pack_log` made. Raises ValueError for one of another version."""
    with np.load(io.BytesIO(data), allow_pickle=False) as arrays:
        words = json.loads(arrays["words"].tobytes())
        if words["version"] != VERSION:
            raise ValueError(f"a kept log is of version {words['version']}, not {VERSION}; start the service again")
        outer = _solid("outer", arrays)
        log = Log(
            name=words["name"],
            outer=outer,
            wood=_solid("wood", arrays) if "wood_faces" in arrays else outer,
            bark_thickness_m=words["bark_thickness_m"],
            hearts=tuple(arrays[f"heart_{k}"] for k in range(words["hearts"])),
            forks=tuple(_fork(k, arrays) for k in range(words["forks"])),
            heart_radius_m=words["heart_radius_m"],
            scan_to_log=arrays["scan_to_log"],
            face_seen=arrays.get("face_seen"),
            doubt=_doubt(arrays, words),
            colours=SurfaceColours(arrays["colours_rgb"], arrays["colours_known"]) if "colours_rgb" in arrays else None,
            walks=tuple(WalkSeen(**walk) for walk in words.get("walks", ())),
        )
    return LogRead(
        log=log,
        source=Source.model_validate(words["source"]),
        wood=unknown_wood() if words["wood"] == UNKNOWN_NAME else find_wood(words["wood"]),
        warnings=tuple(kept_note(note) for note in words["warnings"]),
        marks=tuple(Mark.model_validate(mark) for mark in words["marks"]),
        **{name: words[name] for name in _WORDS},
        **{name: words.get(name, 0.0) for name in _LATER_WORDS},
    )


def is_older(path: Path) -> bool:
    """Return whether a file that `pack_log` made is of another version, from its words alone; no broken one is."""
    with suppress(ValueError, KeyError, BadZipFile), np.load(path, allow_pickle=False) as arrays:
        return bool(json.loads(arrays["words"].tobytes())["version"] != VERSION)
    return False


def _doubt(arrays: Any, words: dict[str, Any]) -> SurfaceDoubt | None:
    if words["scale_spread"] is None:
        return None
    return SurfaceDoubt(
        **{name: arrays[f"doubt_{name}"] for name in _DOUBT},
        scale_spread=words["scale_spread"],
        kinds=tuple(words["doubt_kinds"]),
        means=tuple(words["doubt_means"]),
    )


def _solid_arrays(name: str, solid: Solid) -> Arrays:
    return {f"{name}_vertices_m": solid.vertices_m, f"{name}_faces": solid.faces.astype(np.int32)}


def _solid(name: str, arrays: Any) -> Solid:
    return Solid(arrays[f"{name}_vertices_m"], arrays[f"{name}_faces"])


def _fork(k: int, arrays: Any) -> Fork:
    diameter_m, below_m, above_m = (float(size) for size in arrays[f"fork_{k}_sizes_m"])
    return Fork(
        **{name: arrays[f"fork_{k}_{name}"] for name in _FORK},
        diameter_m=diameter_m,
        below_m=below_m,
        above_m=above_m,
    )
