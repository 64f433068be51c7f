"""An invented phone scan to try things on, as the bytes of a PLY."""

import numpy as np

SCAN_FILE = "invented_scan.ply"
_SEED = 105
_POINTS = 120_000


def invented_scan() -> bytes:
    """Return a cloud of a forked log on the ground, with grass and bunks, in metres, z up; always the same."""
    from scans.invented.simulator import random_settings, simulate  # noqa: PLC0415 - a quarter of a second for who asks for it

    scan = simulate(_SEED, random_settings(_SEED, clutter=True, points=_POINTS))
    kinds = [(axis, "<f4") for axis in ("x", "y", "z")] + [(colour, "u1") for colour in ("red", "green", "blue")]
    rows = np.empty(len(scan.points_m), dtype=kinds)
    for column, (name, _) in enumerate(kinds):
        rows[name] = scan.points_m[:, column] if column < 3 else scan.colours[:, column - 3]
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
