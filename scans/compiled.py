"""Where compiled kernels are kept: in a folder for the source that they were made from.

Numba keeps a kernel for as long as its own file does not change. But kernels that it calls are compiled into it, and of
a change in their files it knows nothing: what is kept would go on doing what the old ones did.
"""

import os
import sys
from hashlib import sha256
from pathlib import Path

_ROOMS = ("scans", "optimizer")


def source_hash(folder: Path) -> str:
    """Return a hash of all source files that have kernels or tuples that they take, in the rooms of a folder."""
    found = sha256()
    for room in _ROOMS:
        for path in sorted((folder / room).rglob("*.py")):
            source = path.read_bytes()
            if b"numba" in source.lower() or b"NamedTuple" in source:
                found.update(f"{path.relative_to(folder).as_posix()} {len(source)} ".encode())
                found.update(source)
    return found.hexdigest()[:16]


def keep_by_source() -> None:
    """Have Numba keep kernels by their source: beside the code, or in the user's cache where it cannot be written to.

    Must come before the first kernel. A folder that was asked for in NUMBA_CACHE_DIR is left alone.
    """
    if "NUMBA_CACHE_DIR" in os.environ:
        return
    folder = Path(__file__).resolve().parents[1]
    kept = folder / "scans" / "__pycache__"
    if not os.access(folder / "scans", os.W_OK):
        kept = Path(os.environ.get("XDG_CACHE_HOME") or "~/.cache").expanduser() / "pithline"
    os.environ["NUMBA_CACHE_DIR"] = str(kept / f"kernels-{source_hash(folder)}")
    if "numba" in sys.modules:  # somebody else was first: it has to look again
        sys.modules["numba"].config.reload_config()
