"""How far surfaces made of invented scans lie off the truth, and over what distances, beside what their doubt says.

.venv/bin/python tests/benchmarks/surfaces.py [first] [count]

The truth's size and place are made those of the log first, by what was seen: the scan's scale is a doubt of its own.
Sawn faces and places within 8 cm of an end are left out, and what lies over 15 cm off. mm.
seen, unseen    off, root mean square; what the doubt says; how many places lie within 1.28 times of what it says (80 %
                of normal errors would).
at the butt     the same of what was not seen within 0.2 m of the butt, in the last line alone.
guessed         how much of what was not seen lies within `Log.guessed_within_m`, ends and all.
Then how errors at two places go together by the distance between them: the mean of their product, mm2.
"""

import sys
from pathlib import Path

import numpy as np
from scipy.spatial import cKDTree

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "benchmarks")]

from doubt import scanned  # noqa: E402

from optimizer.doubt.possible_logs import _outward  # noqa: E402
from scans.locate.scan_surface import points_on_faces  # noqa: E402

WITHIN = 1.2816
END_M, FARTHEST_M, BUTT_M = 0.08, 0.15, 0.2
APART_M = (0.015, 0.03, 0.06, 0.12, 0.25, 0.5, 1.0)


def off_truth(log, true):
    """How far the true surface lies outwards of each vertex (V,), and the scan's scale error."""
    solid = true.outer
    points = points_on_faces(solid.vertices_m, solid.faces, 200_000)
    normals = _outward(solid)[cKDTree(solid.vertices_m).query(points)[1]]
    tree, outward = cKDTree(points), _outward(log.outer)

    def off(vertices):
        nearest = tree.query(vertices, k=8)[1]
        return np.median(np.einsum("vki,vki->vk", points[nearest] - vertices[:, None], normals[nearest]), axis=1)

    moved, seen, scale = log.outer.vertices_m.copy(), log._unseen_at[0] == 0.0, 1.0
    for _ in range(3):
        error = off(moved)
        near = seen & (np.abs(error) < 0.05)
        arms = moved - moved.mean(axis=0)
        columns = [outward, np.cross(arms, outward), np.einsum("vi,vi->v", arms, outward)[:, None]]
        step = np.linalg.lstsq(np.concatenate(columns, axis=1)[near], error[near], rcond=None)[0]
        moved += step[:3] + np.cross(step[3:6], arms) + step[6] * arms
        scale *= 1.0 + step[6]
    return off(moved), scale - 1.0


def together(log, error_m, part, rng):
    """Mean products of errors, and of what the doubt says, at places so far apart; last at one place. (D + 1, 2)."""
    vertices = log.outer.vertices_m[part]
    errors, ways = error_m[part], log.doubt.outer_modes_m[part].astype(np.float64)
    tree, some = cKDTree(vertices), rng.integers(0, len(vertices), 3000)
    rows = []
    for apart in APART_M:
        way = rng.normal(size=(len(some), 3))
        there = vertices[some] + apart * way / np.linalg.norm(way, axis=1)[:, None]
        distance, other = tree.query(there)
        a, b = some[distance < 0.4 * apart], other[distance < 0.4 * apart]
        rows.append((np.mean(errors[a] * errors[b]), np.einsum("nk,nk->n", ways[a], ways[b]).mean()))
    return [*rows, (np.mean(errors**2), (ways**2).sum(axis=1).mean())]


def main(first=100, count=12):
    """Print a row a seed, and how errors go together."""
    rows, products, at_butt = [], [], []
    print("seed  limbs  scale    seen: off  said  within    unseen: off  said  within  guessed")
    for seed in range(first, first + count):
        made = scanned(seed)
        if made is None:
            continue
        log, true = made
        error_m, scale = off_truth(log, true)
        said_m, share, x = log.doubt.outer_error_m(), log._unseen_at[0], log.outer.vertices_m[:, 0]
        side = (x > x.min() + END_M) & (x < x.max() - END_M) & (np.abs(error_m) < FARTHEST_M)
        row, rng = [], np.random.default_rng(0)
        for part in (side & (share == 0.0), side & (share == 1.0)):
            off, said = (1000.0 * np.sqrt(np.mean(values[part] ** 2)) for values in (error_m, said_m))
            row += [off, said, np.mean(np.abs(error_m[part]) < WITHIN * said_m[part])]
            products.append(together(log, error_m, part, rng))
        butt = (share == 1.0) & (x < x.min() + BUTT_M) & (np.abs(error_m) < FARTHEST_M)
        at_butt.append([np.mean(values[butt] ** 2) if butt.any() else np.nan for values in (error_m, said_m)])
        middle, area = np.abs(error_m[log.outer.faces].mean(axis=1)), log._face_areas_m2 * ~log.face_seen
        guessed = (area * (middle <= log.guessed_within_m)).sum() / max(area.sum(), 1e-12)
        rows.append([*row, scale, guessed])
        print(
            f"{seed:4d}  {max(0, len(log.hearts) - 1):5d} {scale:+7.2%}  {row[0]:9.1f} {row[1]:5.1f} {row[2]:7.0%}  "
            f"{row[3]:13.1f} {row[4]:5.1f} {row[5]:7.0%}  {guessed:7.0%}",
            flush=True,
        )
    at = np.sqrt(np.mean(np.square(rows), axis=0))
    within = np.mean(rows, axis=0)
    print(
        f"all          {at[6]:7.2%}  {at[0]:9.1f} {at[1]:5.1f} {within[2]:7.0%}  {at[3]:13.1f} {at[4]:5.1f} "
        f"{within[5]:7.0%}  {within[7]:7.0%}"
    )
    off, said = 1000.0 * np.sqrt(np.nanmean(at_butt, axis=0))
    print(f"at the butt: {off:.1f}, said {said:.1f}")
    products = np.array(products).reshape(-1, 2, len(APART_M) + 1, 2).mean(axis=0) * 1e6
    print("apart m   seen: is  said   unseen: is   said")
    for k, apart in enumerate((*APART_M, 0.0)):
        seen, unseen = products[0, k], products[1, k]
        print(f"{apart:7.3f} {seen[0]:10.2f} {seen[1]:5.2f} {unseen[0]:12.1f} {unseen[1]:6.1f}")


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
