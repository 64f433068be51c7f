"""How well a log is made of a scan: a row a seed of the suite of invented scans, clutter in the odd ones.

.venv/bin/python tests/benchmarks/scans.py [first] [count] [lays]

volume: error of the solid against the truth at the scan's scale. hidden: root mean square distance from the truth's
unseen side to the solid. plane: between the fork's plane and the truth's. kept: net, on the true log, of the plan made
from the scan (roll, tilt and heights as planned, lift anew, limits not checked again, no slab no money) over the best
net on the true log, both by a search of so many lays; 0 lays leaves it out. in 80 %: whether the middle 80 % of the
samples' volumes hold the true volume. Then, for the doubt of the surface as it is and widened or narrowed: how many
logs hold their true volume so, and what share of their surface lies as near the truth, at the scan's scale, as
`Log.surface_error_m` says, seen and not. Learn a width on one set of seeds, look on another. Also the real clouds of
the data folder.
"""

import os
import sys
import time

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before NumPy is imported, as the service does

from itertools import combinations
from pathlib import Path

import numpy as np
import trimesh
from scipy.spatial import cKDTree

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "optimizer")]

import books  # noqa: E402

from optimizer.search.lays import search  # noqa: E402
from scans.errors import ScanError  # noqa: E402
from scans.fit.scanned_log import log_from_points  # noqa: E402
from scans.invented.simulator import random_settings, simulate  # noqa: E402
from scans.locate.ground import find_log  # noqa: E402
from scans.log import Log, SurfaceDraw  # noqa: E402

DATA = Path(os.environ.get("PITHLINE_DATA", ROOT.parent / "shared" / "data"))
SAMPLES = 60
WIDTHS = (0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.2, 1.4, 1.7, 2.0)
"""Of the changes of form, over those that they have."""


def distances(solid, points):
    """Distance of points (N, 3) to a solid's surface, by points strewn over it 3 to 5 mm apart."""
    mesh = trimesh.Trimesh(solid.vertices_m, solid.faces, process=False)
    strewn = trimesh.sample.sample_surface(mesh, 400_000, seed=0)[0]
    return cKDTree(strewn).query(points, workers=2)[0]


def true_log(scan, log):
    """The truth in the frame of the log made of the scan: at the scan's scale, and as large as it is."""
    matrix = log.scan_to_log @ scan.log_to_scan
    scale = np.cbrt(np.linalg.det(matrix[:3, :3]))
    rigid = matrix.copy()
    rigid[:3] /= scale
    solid = scan.truth.solid.moved(rigid)
    low = solid.bounds_m[0, 0]
    shift = np.eye(4)
    shift[0, 3] = -low
    hearts = tuple(line @ rigid[:3, :3].T + rigid[:3, 3] - [low, 0, 0] for line in scan.truth.hearts)
    hearts = tuple(line[np.concatenate([[True], np.diff(line[:, 0]) > 0])] for line in hearts)
    actual = Log(name="truth", outer=solid.moved(shift), wood=solid.moved(shift), hearts=hearts)
    return scan.truth.solid.moved(matrix), actual, scale


def plane_off_deg(scan, log):
    """Angle between the fork's plane and the nearest of the truth's, of any two limbs. [deg]"""
    matrix = log.scan_to_log @ scan.log_to_scan
    turn = matrix[:3, :3] / np.cbrt(np.linalg.det(matrix[:3, :3]))
    if scan.truth.limbs == 2:
        normals = [scan.truth.forks[0].normal]
    else:
        limbs = [line[1:] - line[0] for line in scan.truth.hearts[1:]]
        normals = []
        for one, two in combinations(limbs, 2):
            both = np.concatenate([one, two])
            normals.append(np.linalg.eigh(both.T @ both)[1][:, 0])
    return min(np.degrees(np.arccos(min(1.0, abs(float(log.forks[0].normal @ (turn @ n)))))) for n in normals)


def kept_share(log, actual, lays):
    """Net on the true log of the best plan for the log, over the best net on the true log."""
    planned, true = books.problem(log), books.problem(actual)
    plan = search(planned, lays).plans[0]
    best = search(true, lays).plans[0].net
    turned = true.supports.turned(plan.lay.roll_deg)
    rows = [p.row for p in plan.passes if not p.flipped]
    flipped = [p.row for p in plan.passes if p.flipped]
    count = max(0, len(rows) - 1)
    after = (*plan.entries[count:], plan.bed_entry) if flipped else ()
    done = true.price_rows(turned.lay(plan.lay.tilt_deg), rows, plan.entries[:count], flipped, after)
    return done.net / max(best, done.net), plan.net / best


def held_at(log, actual, width):
    """Whether the middle 80 % of samples' volumes hold the true one, where changes of form are so wide."""
    rng = np.random.default_rng(1)
    draws = rng.normal(size=(SAMPLES, log.doubt.outer_modes_m.shape[1] + 1))
    drawn = (SurfaceDraw(float(one[0]), width * one[1:]) for one in draws)
    volumes = [log.varied(one).outer.volume_m3 for one in drawn]
    return np.quantile(volumes, 0.1) <= actual.outer.volume_m3 <= np.quantile(volumes, 0.9)


def off_truth(log, at_scale):
    """Area, distance off the truth and whether it was seen, of each face (F,)."""
    corners = log.outer.vertices_m[log.outer.faces]
    areas = 0.5 * np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    return areas, distances(at_scale, corners.mean(axis=1)), log.face_seen


def print_doubt(doubts):
    """Print the table of widths: each of doubts is (surface_error_m, held (W,), off_truth)."""
    print("width  volume in 80 %   within the surface error: all   seen  not seen, least of a log")
    for k, width in enumerate(WIDTHS):
        shares = []
        for error_m, _, (areas, off, seen) in doubts:
            near = off <= width * error_m
            parts = (np.ones_like(seen), seen, ~seen)
            shares.append([areas[part & near].sum() / max(areas[part].sum(), 1e-12) for part in parts])
        whole, seen_part, guessed = np.mean(shares, axis=0)
        held = sum(one[1][k] for one in doubts)
        print(
            f"{width:5.2f} {held:8d} of {len(doubts):<3d} {whole:32.0%} {seen_part:6.0%} {guessed:9.0%} "
            f"{min(s[0] for s in shares):15.0%}"
        )
    error, rms, seen_rms, guessed_rms = np.median([rms_of(*one) for one in doubts], axis=0)
    print(f"surface error, median: said {error:.1f} mm, was {rms:.1f} mm; {seen_rms:.1f} seen, {guessed_rms:.1f} not")


def rms_of(error_m, _, faces):
    """Said, and root mean square distance over all, seen and unseen faces. [mm]"""
    areas, off, seen = faces
    parts = (np.ones_like(seen), seen, ~seen)
    return [1000.0 * error_m, *(1000.0 * np.sqrt((areas * off**2)[p].sum() / areas[p].sum()) for p in parts)]


def main(first=0, count=24, lays=300):
    warm = simulate(first, random_settings(first, clutter=False, points=20_000))
    log_from_points(warm.points_m[find_log(warm.points_m).mask], find_log(warm.points_m).outline, "warm", 1.0)
    print("seed kind           clutter  seen  volume  hidden  length  fork  plane   kept  said  in 80 %  seconds")
    rows, doubts = [], []
    for seed in range(first, first + count):
        clutter = seed % 2 == 1
        scan = simulate(seed, random_settings(seed, clutter))
        start = time.perf_counter()
        found = find_log(scan.points_m, scan.normals)
        try:
            log, _ = log_from_points(scan.points_m[found.mask], found.outline, str(seed), 1.0)
        except Exception as error:  # noqa: BLE001 - a failure is a row of the table
            print(f"{seed:4d} {scan.truth.kind:<14} FAILED {type(error).__name__}: {error}", flush=True)
            rows.append((np.nan,) * 9)
            continue
        taken = time.perf_counter() - start
        at_scale, actual, scale = true_log(scan, log)
        volume = log.outer.volume_m3 / at_scale.volume_m3 - 1.0
        hidden = ~scan.face_seen & ~scan.truth.end_faces
        middles = at_scale.vertices_m[at_scale.faces].mean(axis=1)
        corners = at_scale.vertices_m[at_scale.faces[hidden]]
        areas = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
        off = distances(log.outer, middles[hidden])
        rms = 1000.0 * np.sqrt((off**2 * areas).sum() / areas.sum())
        length = 1000.0 * (log.length_m - scan.truth.length_m * scale)
        fork = max(0, len(log.hearts) - 1) == scan.truth.limbs
        plane = plane_off_deg(scan, log) if log.forks and scan.truth.limbs else np.nan
        volumes = [one.outer.volume_m3 for one in log.sample(SAMPLES, 1)]
        doubts.append((log.surface_error_m, [held_at(log, actual, w) for w in WIDTHS], off_truth(log, at_scale)))
        held = np.quantile(volumes, 0.1) <= actual.outer.volume_m3 <= np.quantile(volumes, 0.9)
        kept, said = kept_share(log, actual, lays) if lays else (np.nan, np.nan)
        rows.append((volume, rms, length, fork, plane, kept, held, taken, said))
        print(
            f"{seed:4d} {scan.truth.kind:<14} {'yes' if clutter else 'no ':<7} {scan.seen_share:5.0%} {volume:+7.2%} "
            f"{rms:5.1f}mm {length:+5.0f}mm  {'right' if fork else 'WRONG'} {plane:5.2f}  {kept:6.3f} {said:5.2f}  "
            f"{'yes' if held else 'no ':<7} {taken:6.2f}",
            flush=True,
        )
    volume, rms, length, fork, plane, kept, held, taken, said = np.array(rows, dtype=np.float64).T
    worst_plane = np.max(plane, initial=0.0, where=~np.isnan(plane))
    kept_text = f"kept median {np.nanmedian(kept):.3f} worst {np.nanmin(kept):.3f}; " if lays else ""
    print(
        f"failed {int(np.isnan(volume).sum())}; volume |error| median {np.nanmedian(np.abs(volume)):.2%} worst "
        f"{np.nanmax(np.abs(volume)):.2%} mean {np.nanmean(volume):+.2%}; hidden RMS median {np.nanmedian(rms):.1f} "
        f"mm; forks right {int(np.nansum(fork))} of {len(fork)}, plane worst {worst_plane:.2f} deg; length worst "
        f"{np.nanmax(np.abs(length)):.0f} mm; {kept_text}"
        f"volume in 80 % {int(np.nansum(held))}; seconds most {np.nanmax(taken):.2f}"
    )
    if doubts:
        print_doubt(doubts)
    for path in sorted([*DATA.glob("gpl3/*.ply"), *DATA.glob("cc0/*cloud.ply")]):
        points = np.asarray(trimesh.load(path, process=False).vertices, dtype=np.float64)
        start = time.perf_counter()
        found = find_log(points)
        try:
            log, notes = log_from_points(points[found.mask], found.outline, path.stem, 1.0)
        except ScanError as error:
            print(f"{path.name}: refused: {error}")
            continue
        taken = time.perf_counter() - start
        there = points @ log.scan_to_log[:3, :3].T + log.scan_to_log[:3, 3]
        off = distances(log.outer, there)
        print(
            f"{path.name}: {len(points)} points, {(off < 0.015).mean():.1%} within 15 mm, {log.outer.volume_m3:.4f} "
            f"m3, {log.length_m:.2f} m, {len(log.hearts)} hearts, {taken:.1f} s; {notes[0]}"
        )
    whole = DATA / "cc0" / "cc0_polyhaven_fork_log.ply"
    if whole.exists():
        mesh = trimesh.load(whole)
        print(f"the CC0 log's true volume is {abs(mesh.volume):.4f} m3")


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
