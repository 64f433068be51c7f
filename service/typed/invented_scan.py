"""An invented phone scan to try things on, as the bytes of a PLY."""

import numpy as np

SCAN_FILE = "invented_scan.ply"
SCAN_FILES = (SCAN_FILE, "invented_second_scan.ply")
"""Two walks round one log, which was rolled between them."""

_SEED = 105
_POINTS = 120_000


def invented_scan(name: str = SCAN_FILE) -> bytes:
    """Return a cloud of a forked log on the ground, with grass and bunks, in metres, z up; always the same.

    name : which of SCAN_FILES.
    """
    from scans.invented.simulator import random_settings, simulate, simulate_walks  # noqa: PLC0415 - a quarter of a second for who asks for it

    settings = random_settings(_SEED, clutter=True, points=_POINTS)
    scan = simulate(_SEED, settings) if name == SCAN_FILE else simulate_walks(_SEED, settings)[1]
    kinds = [(axis, "<f4") for axis in ("x", "y", "z")] + [(colour, "u1") for colour in ("red", "green", "blue")]
    rows = np.empty(len(scan.points_m), dtype=kinds)
    for column, (kind, _) in enumerate(kinds):
        rows[kind] = scan.points_m[:, column] if column < 3 else scan.colours[:, column - 3]
    names = {"<f4": "float", "u1": "uchar"}
    head = [
        "ply",
        "format binary_little_endian 1.0",
        "comment invented: no such log was ever scanned",
        f"element vertex {len(rows)}",
        *(f"property {names[kind]} {name}" for name, kind in kinds),
        "end_header",
    ]
    return "\n".join(head).encode() + b"\n" + rows.tobytes()
