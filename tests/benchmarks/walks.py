"""What a second walk brings: a row a seed of invented logs, rolled 69 to 176 degrees between; clutter in odd ones.

.venv/bin/python tests/benchmarks/walks.py [first] [count] [points], or real: the real stems of the data folder

roll, place: how far the second walk lies off its true place in the first: the turn that is left, and the root mean
square over the log. misfit, known: as of `scans.walks.register.Registration`. rival: the less of its other_roll and
other_end. volume, hidden: error of the volume, and root mean square distance from the side that the first walk did not
see to the solid, of the first walk alone > of both, at the scans' scale. said: how far off the solid of both is by its
doubt | and was, root mean square, sawn ends left out. kept: share of that side which the second did not see either. A
seed whose roll is not sure is read again with the roll told to the nearest 10 degrees. Last, each first walk with the
second of the seed before it, which must be refused. The logs, walks and yards are invented. Real stems, seen all round,
are cut in two by what two walks see, rolled 110 degrees between, each with other points and noise of its own of 3 mm.
"""

import os
import sys
import time

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before NumPy is imported, as the service does

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import trimesh
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from scans import log_of_scan  # noqa: E402
from scans.errors import ScanError  # noqa: E402
from scans.formats.scan import Scan  # noqa: E402
from scans.invented.simulator import random_settings, simulate_walks  # noqa: E402
from scans.locate.ground_plane import surface_normals  # noqa: E402
from scans.locate.scan_surface import points_on_faces  # noqa: E402
from scans.walks.join import joined  # noqa: E402

DATA = Path(os.environ.get("PITHLINE_DATA", ROOT.parent / "shared" / "data"))


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


def cut_in_two(points):
    """Two scans of points (N, 3) seen all round, and where the stem lies in each (4, 4)."""
    few = points[:: max(1, len(points) // 80_000)]
    axes = np.linalg.eigh(np.cov(few.T))[1][:, ::-1].T
    lying = (few - few.mean(axis=0)) @ (axes * np.sign(np.linalg.det(axes))).T
    slices = ((lying[:, 0] - lying[:, 0].min()) / 0.1).astype(int)
    counts = np.maximum(np.bincount(slices), 1)
    centres = np.stack([np.bincount(slices, lying[:, k]) / counts for k in (1, 2)], axis=1)[slices]
    normals = surface_normals(lying)
    normals *= np.where(((lying[:, 1:] - centres) * normals[:, 1:]).sum(axis=1) < 0.0, -1.0, 1.0)[:, None]
    rng, scans, places = np.random.default_rng(0), [], []
    for rolled_deg in (0.0, 110.0):
        turn = Rotation.from_euler("xz", [rolled_deg, rolled_deg], degrees=True).as_matrix()
        seen = lying[((normals @ turn.T)[:, 2] > -0.3) & (rng.random(len(lying)) < 0.6)]
        scans.append(Scan(seen @ turn.T + rng.normal(0.0, 0.003, seen.shape), unit_m=1.0, up="z"))
        places.append(np.eye(4))
        places[-1][:3, :3] = turn
    return scans, places


def real():
    """Print a row for each real stem: left, place, misfit, rival and known as for invented ones, and what is hidden."""
    for path in sorted(DATA.glob("gpl3/*.ply")):
        scans, places = cut_in_two(np.asarray(trimesh.load(path, process=False).vertices, dtype=np.float64))
        told = log_of_scan.joined = Told()
        try:
            log, _ = log_of_scan.log_of_scans(scans, path.stem, 1.0)
        except ScanError as error:
            print(f"{path.stem:<20} refused: {error}", flush=True)
            continue
        turn, place = off_place([SimpleNamespace(log_to_scan=matrix) for matrix in places], told)
        found = told.how
        print(
            f"{path.stem:<20} {turn:5.2f} deg {1000 * place:5.1f} mm {1000 * found.misfit_m:5.1f} mm "
            f"{min(found.other_roll, found.other_end):5.2f} {found.known_within_deg:5.2f} deg  not seen "
            f"{told.one.not_seen_share:.0%} > {log.not_seen_share:.0%}",
            flush=True,
        )


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
    real() if sys.argv[1:] == ["real"] else main(*(int(word) for word in sys.argv[1:]))
