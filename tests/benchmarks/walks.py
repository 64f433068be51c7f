"""What a second walk brings: a row a seed of invented logs, rolled 69 to 176 degrees between; clutter in odd ones.

.venv/bin/python tests/benchmarks/walks.py [first] [count] [points]

roll, place: how far the second walk lies off its true place in the first: the turn that is left, and the root mean
square over the log. misfit, known: as of `scans.walks.register.Registration`. rival: the less of its other_roll and
other_end. volume, hidden: error of the volume, and root mean square distance from the side that the first walk did not
see to the solid, of the first walk alone > of both, at the scans' scale. said: how far off the solid of both is by its
doubt | and was, root mean square, sawn ends left out. kept: share of that side which the second did not see either. A
seed whose roll is not sure is read again with the roll told to the nearest 10 degrees. Last, each first walk with the
second of the seed before it, which must be refused. The logs, walks and yards are invented.
"""

import os
import sys
import time

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before NumPy is imported, as the service does

from pathlib import Path

import numpy as np
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from scans import log_of_scan  # noqa: E402
from scans.errors import ScanError  # noqa: E402
from scans.formats.scan import Scan  # noqa: E402
from scans.invented.simulator import random_settings, simulate_walks  # noqa: E402
from scans.locate.scan_surface import points_on_faces  # noqa: E402
from scans.walks.join import joined  # noqa: E402


class Told:
    """What joins walks in the reading of scans, and keeps the logs that it was given and how they lie."""

    def __call__(self, one, two, number, rolled_deg=None):
        self.one, self.two = one, two
        self.how = joined(one, two, number, rolled_deg)
        return self.how


def off_place(walks, told):
    """Turn left between the second walk and its true place in the first [deg], and how far it lies off there. [m]"""
    true = [log.scan_to_log @ walk.log_to_scan for log, walk in zip((told.one, told.two), walks, strict=True)]
    true = true[0] @ np.linalg.inv(true[1])
    left = np.linalg.inv(true) @ told.how.matrix
    turn = left[:3, :3] / np.cbrt(np.linalg.det(left[:3, :3]))
    at = told.two.outer.vertices_m
    apart = at @ (told.how.matrix - true)[:3, :3].T + (told.how.matrix - true)[:3, 3]
    return np.degrees(Rotation.from_matrix(turn).magnitude()), np.sqrt((apart**2).sum(axis=1).mean())


def off_truth(walk, log):
    """Error of the volume; how far the truth's side that the walk did not see lies off the log, and all of it. [m]"""
    solid = walk.truth.solid.moved(log.scan_to_log @ walk.log_to_scan)
    corners = solid.vertices_m[solid.faces]
    areas = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    strewn = cKDTree(points_on_faces(log.outer.vertices_m, log.outer.faces, 400_000))
    off = strewn.query(corners.mean(axis=1), workers=2)[0]
    side = ~walk.truth.end_faces
    rms = [np.sqrt((off**2 * areas)[part].sum() / areas[part].sum()) for part in (side & ~walk.face_seen, side)]
    return log.outer.volume_m3 / solid.volume_m3 - 1.0, *rms


def row(seed, points):
    """Print one seed's row; return its figures and what was told of its walks."""
    *walks, rolled = simulate_walks(seed, random_settings(seed, clutter=seed % 2 == 1, points=points))
    scans = [Scan(walk.points_m, colours=walk.colours, normals=walk.normals, unit_m=1.0, up="z") for walk in walks]
    told = log_of_scan.joined = Told()
    how, start = "", time.perf_counter()
    try:
        log, _ = log_of_scan.log_of_scans(scans, str(seed), 1.0)
    except ScanError as error:
        print(f"{seed:4d} {walks[0].truth.kind:<14} refused: {error}", flush=True)
        if error.field != "rolled_deg":
            return None, told
        try:
            log, _ = log_of_scan.log_of_scans(scans, str(seed), 1.0, rolled_deg=[10.0 * round(rolled / 10.0)])
        except ScanError as again:
            print(f"{seed:4d} with the roll told: {again}", flush=True)
            return None, told
        how = " told"
    taken = time.perf_counter() - start
    turn, place = off_place(walks, told)
    one, two = off_truth(walks[0], told.one), off_truth(walks[0], log)
    both = walks[0].face_seen | walks[1].face_seen | walks[0].truth.end_faces
    kept = (~both).sum() / (~walks[0].face_seen & ~walks[0].truth.end_faces).sum()
    found = told.how
    rival = min(found.other_roll, found.other_end)
    print(
        f"{seed:4d} {walks[0].truth.kind:<14} {rolled:+5.0f} {turn:5.2f} deg {1000 * place:5.1f} mm {kept:5.0%} "
        f"{1000 * found.misfit_m:5.1f} mm {rival:5.2f} {found.known_within_deg:5.2f} deg  "
        f"{one[0]:+7.2%} > {two[0]:+7.2%}  {1000 * one[1]:5.1f} > {1000 * two[1]:5.1f} mm "
        f"{1000 * log.surface_error_m:5.1f} | {1000 * two[2]:4.1f} mm {taken:6.1f}{how}",
        flush=True,
    )
    figures = (turn, 1000 * place, abs(one[0]), abs(two[0]), 1000 * one[1], 1000 * two[1])
    return (*figures, 1000 * log.surface_error_m, 1000 * two[2], taken), told


def main(first=400, count=6, points=60_000):
    print("seed kind            roll      left     place kept  misfit  rival  known", end="")
    print("     volume              hidden         said | was    seconds")
    rows, before = [], None
    for seed in range(first, first + count):
        figures, told = row(seed, points)
        if figures is not None:
            rows.append(figures)
        if before is not None and hasattr(told, "two"):
            try:
                joined(before, told.two, 2)
                print(f"{seed:4d} ANOTHER LOG TAKEN FOR {seed - 1}")
            except ScanError as error:
                print(f"{seed:4d} as a walk of {seed - 1}: {error}", flush=True)
        before = getattr(told, "one", None)
    names = (
        "turn deg",
        "place mm",
        "volume one",
        "volume two",
        "hidden one mm",
        "hidden two mm",
        "said mm",
        "was mm",
        "seconds",
    )
    for name, values in zip(names, np.array(rows).T, strict=True):
        print(f"{name:<14} median {np.median(values):8.4f} worst {values.max():8.4f}")
    print(f"read {len(rows)} of {count}")


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
