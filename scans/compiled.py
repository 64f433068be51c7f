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
    """Return a hash of all source files that have kernels, in the rooms of a folder."""
    found = sha256()
    for room in _ROOMS:
        for path in sorted((folder / room).glob("*.py")):
            source = path.read_bytes()
            if b"numba" in source:
                found.update(f"{room}/{path.name} {len(source)} ".encode())
                found.update(source)
    return found.hexdigest()[:16]


def keep_by_source() -> None:
    """Have Numba keep kernels beside the code by their source; where that cannot be written to, it finds a place.

    Must come before the first kernel. A folder that was asked for in NUMBA_CACHE_DIR is left alone.
    """
    folder = Path(__file__).resolve().parents[1]
    if "NUMBA_CACHE_DIR" in os.environ or not os.access(folder / "scans", os.W_OK):
        return
    os.environ["NUMBA_CACHE_DIR"] = str(folder / "scans" / "__pycache__" / f"kernels-{source_hash(folder)}")
    if "numba" in sys.modules:  # somebody else was first: it has to look again
        sys.modules["numba"].config.reload_config()
