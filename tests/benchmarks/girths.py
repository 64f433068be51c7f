"""What girths by the tape bring to a scan that saw one side: a row a seed, without girths and with three of them.

.venv/bin/python tests/benchmarks/girths.py [first] [count] [points]

volume: error of the outer volume. hidden: root mean square distance from the side of the truth that the scan did not
see, sawn ends left out, to the solid. said: how far off the whole surface is by its doubt | and was; the scan's size is
made the truth's for these, and for hidden, as its scale is a doubt of its own. ratio: hidden with girths to hidden
without. The girths are the truth's own hulls across the trunk at 15, 45 and 75 % of it, read wrong by the tape's error.
The logs, yards and scans are invented; clutter in odd seeds.
"""

import os
import sys

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before NumPy is imported, as the service does

from pathlib import Path

import numpy as np
from scipy.spatial import ConvexHull, cKDTree

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from scans.errors import ScanError  # noqa: E402
from scans.fit.girths import GirthTaped  # noqa: E402
from scans.formats.scan import Scan  # noqa: E402
from scans.invented.simulator import random_settings, simulate  # noqa: E402
from scans.locate.scan_surface import points_on_faces  # noqa: E402
from scans.log_of_scan import ScanChoices, log_of_scan  # noqa: E402
from scans.solids.bodies import body_from_mesh  # noqa: E402
from scans.tape.sheet_doubt import RADIUS_READ_M  # noqa: E402

PLACES = (0.15, 0.45, 0.75)
ERROR_M = 2.0 * np.pi * RADIUS_READ_M


def girths_of(walk, log, rng):
    """The girths that a tape finds on the true trunk, by places along the log from its butt end."""
    true = walk.truth.solid.moved(log.scan_to_log @ walk.log_to_scan)
    size = np.cbrt(np.linalg.det((log.scan_to_log @ walk.log_to_scan)[:3, :3]))
    line = walk.truth.hearts[0] @ (log.scan_to_log @ walk.log_to_scan)[:3, :3].T
    line = line + (log.scan_to_log @ walk.log_to_scan)[:3, 3]
    line = line if line[0, 0] < line[-1, 0] else line[::-1]
    body = body_from_mesh(true.vertices_m, true.faces)
    found = []
    for share in PLACES:
        x = line[0, 0] + share * (line[-1, 0] - line[0, 0])
        middle = np.array([np.interp(x, line[:, 0], line[:, k]) for k in range(3)])
        along = np.gradient(line, axis=0)[np.argmin(np.abs(line[:, 0] - x))]
        along /= np.linalg.norm(along)
        side = np.cross(along, [0.0, 0.0, 1.0])
        side /= np.linalg.norm(side)
        across = np.stack([side, np.cross(along, side), along])
        matrix = np.column_stack([across, -across @ middle])
        rings = [np.asarray(ring) for ring in body.transform(matrix).slice(0.0).to_polygons()]
        own = min(rings, key=lambda ring: np.linalg.norm(ring.mean(axis=0)))
        around_m = ConvexHull(own).area / size + rng.normal(0.0, ERROR_M)
        found.append(GirthTaped((x - true.bounds_m[0, 0]) / size, around_m, ERROR_M))
    return tuple(found)


def off(walk, log):
    """Error of the volume; root mean square off the unseen side, and off the whole side, at the truth's size. [mm]"""
    matrix = log.scan_to_log @ walk.log_to_scan
    true = walk.truth.solid.moved(matrix)
    size = np.cbrt(np.linalg.det(matrix[:3, :3]))
    tree = cKDTree(points_on_faces(log.outer.vertices_m, log.outer.faces, 300_000))
    apart = tree.query(true.vertices_m[true.faces].mean(axis=1))[0] / size
    side, seen = ~walk.truth.end_faces, walk.face_seen
    volume = log.outer.volume_m3 / walk.truth.solid.volume_m3 - 1.0
    return volume, *(1000.0 * np.sqrt(np.mean(apart[part] ** 2)) for part in (side & ~seen, side))


def main(first=500, count=8, points=60_000):
    """Print a row a seed, and the medians."""
    rows = []
    print(
        "seed  limbs    volume: none  three girths     hidden mm: none  three  ratio     said | was mm: none     three"
    )
    for seed in range(first, first + count):
        walk = simulate(seed, random_settings(seed, clutter=seed % 2 == 1, points=points))
        scan = Scan(walk.points_m, colours=walk.colours, unit_m=1.0, up="z")
        try:
            bare, _ = log_of_scan(scan, "log", 1.0)
            girths = girths_of(walk, bare, np.random.default_rng(seed))
            taped, notes = log_of_scan(scan, "log", 1.0, ScanChoices(girths=girths))
        except ScanError as error:
            print(f"{seed:4d}  {error}")
            continue
        told = sum(note.kind == "girth_contradicts" for note in notes)
        row = [*off(walk, bare), *off(walk, taped), 1e3 * bare.surface_error_m, 1e3 * taped.surface_error_m]
        rows.append(row)
        print(
            f"{seed:4d}  {max(0, len(bare.hearts) - 1):5d}  {row[0]:+13.2%} {row[3]:+13.2%}  {row[1]:19.1f} "
            f"{row[4]:6.1f} {row[4] / row[1]:6.2f}  {row[6]:18.1f} | {row[2]:4.1f}  {row[7]:5.1f} | {row[5]:4.1f}"
            + (f"  {told} left out" if told else ""),
            flush=True,
        )
    at = np.median(np.abs(rows), axis=0)
    ratio = np.median([row[4] / row[1] for row in rows])
    print(
        f"medians      {at[0]:13.2%} {at[3]:13.2%}  {at[1]:19.1f} {at[4]:6.1f} {ratio:6.2f}  "
        f"{at[6]:18.1f} | {at[2]:4.1f}  {at[7]:5.1f} | {at[5]:4.1f}"
    )


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
