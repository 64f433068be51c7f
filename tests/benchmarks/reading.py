"""How well the log is found in a scan: a row a seed of the suite of invented scans, clutter in the odd ones.

.venv/bin/python tests/benchmarks/reading.py [first] [count]

Also how much of the real stems comes through, and how long 20 million points take.
Unit and up are told from the points as a file of that unit and up-axis holds them.
"""

import os
import resource
import sys
import time
from pathlib import Path

import numpy as np
import trimesh

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from scans.errors import ScanError  # noqa: E402
from scans.formats.scan import Scan  # noqa: E402
from scans.invented.simulator import Label, random_settings, simulate  # noqa: E402
from scans.locate.ground import find_log  # noqa: E402
from scans.locate.placing import UNITS_M, place_scan  # noqa: E402

DATA = Path(os.environ.get("PITHLINE_DATA", ROOT.parent / "shared" / "data"))
WRONG = (Label.GROUND, Label.GRASS, Label.BUNK, Label.STONE, Label.BOOT, Label.OTHER_LOG)


def placed(scan):
    """Say how unit and up came out, the user's answer given where it was asked for."""
    in_file = scan.as_in_file()
    try:
        found = place_scan(Scan(in_file.points, normals=in_file.normals))
    except ScanError as error:
        return "asks" if getattr(error, "field", "") in {"unit", "up"} else "ERROR"
    right = np.isclose(UNITS_M[found.unit], scan.settings.unit_m) and found.up == scan.settings.up
    return "right" if right else f"WRONG ({found.unit}, {found.up})"


def main(first=0, count=24):
    simple = simulate(first, random_settings(first, clutter=False, points=20_000))
    find_log(simple.points_m)
    headings = " ".join(f"{label.name.lower():>9}" for label in WRONG)
    print(f"seed {'kind':<14} clutter  precision recall  length      true  {headings}  unit, up  seconds")
    rows = []
    for seed in range(first, first + count):
        clutter = seed % 2 == 1
        scan = simulate(seed, random_settings(seed, clutter))
        is_log = scan.labels == Label.LOG
        start = time.perf_counter()
        found = find_log(scan.points_m, scan.normals)
        taken = time.perf_counter() - start
        right = int((found.mask & is_log).sum())
        precision, recall = right / found.mask.sum(), right / is_log.sum()
        rows.append((precision, recall, taken))
        true_m = scan.truth.length_m * np.cbrt(np.linalg.det(scan.log_to_scan[:3, :3]))
        wrong = " ".join(f"{int((found.mask & (scan.labels == label)).sum()):9d}" for label in WRONG)
        print(
            f"{seed:4d} {scan.truth.kind:<14} {'yes' if clutter else 'no ':<7} {precision:9.4f} {recall:7.4f} "
            f"{found.outline.length_m:6.3f}m {true_m:6.3f}m  {wrong}  {placed(scan):<8} {taken:8.2f}",
            flush=True,
        )
    precision, recall, taken = np.array(rows).T
    print(
        f"precision: least {precision.min():.4f}, median {np.median(precision):.4f}; recall: least {recall.min():.4f}, "
        f"median {np.median(recall):.4f}; seconds: most {taken.max():.2f}; "
        f"{int(((precision >= 0.995) & (recall >= 0.98)).sum())} of {len(rows)} with 0.995 and 0.98"
    )
    for path in sorted([*DATA.glob("gpl3/*.ply"), *DATA.glob("cc0/*.ply")]):
        points = np.asarray(trimesh.load(path, process=False).vertices, dtype=np.float64)
        found = find_log(points)
        print(f"{path.name}: {found.mask.mean():.4f} of {len(points)} points kept")
    scan = simulate(first + 1, random_settings(first + 1, clutter=True))
    rng = np.random.default_rng(0)
    many = np.concatenate([scan.points_m + rng.normal(0.0, 0.001, scan.points_m.shape) for _ in range(57)])
    start = time.perf_counter()
    found = find_log(many)
    memory_gb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(
        f"{len(many)} points: {time.perf_counter() - start:.1f} s, at most {memory_gb:.1f} GB with the points made, "
        f"{found.mask.mean():.3f} kept"
    )


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
