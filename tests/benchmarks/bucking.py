"""Where to buck a log against cuts made by hand: `python tests/benchmarks/bucking.py [LAYS]`.

Invented forks and bowed stems; each limb of them is cut off by the mesh library alone at a dozen places, each stem at
eight, and each log left is searched as it is. Prints how far the best of these is over the plan, and what the plan
took to find where to buck, in seconds of the processor.
"""

import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).parents[1] / "optimizer"), str(Path(__file__).parents[2])]

import books  # noqa: E402
import shapes  # noqa: E402
from planned_logs import given_log  # noqa: E402

from optimizer.bed.buck_cuts import BuckCut, kept_hearts, limb_cut, limb_leaves_m, limb_length_m, stem_cut  # noqa: E402
from optimizer.search.bucked import Scouting, ways_to_buck  # noqa: E402
from optimizer.search.bucked_search import search_bucked  # noqa: E402
from scans.log import Log, Solid  # noqa: E402
from scans.units import FOOT_M, INCH_M  # noqa: E402

PACE = books.Pace(sawing_rate_m2_per_min=0.5, minutes_per_pass=3, minutes_per_slab=8, minutes_per_buck_cut=5)
LIMB_PLACES, STEM_PLACES = 6, 8


def logs() -> dict[str, Log]:
    """Return invented logs by what they are."""
    return {
        "fork, 30 degrees, limbs of 7 ft": shapes.forked(spread_deg=30.0, limb_length_m=2.9, stem_length_m=1.4),
        "fork, 18 degrees, limbs of 4 ft": shapes.forked(spread_deg=18.0, limb_length_m=1.7, stem_length_m=1.4),
        "bowed stem of 16 ft": shapes.bent(0.3, 0.2, 16.0 * FOOT_M, toward_deg=90.0),
    }


def left_by_hand(log: Log, cut: BuckCut) -> Log:
    """Return a log without what a cut takes off, cut with the mesh library alone."""
    body = shapes.manifold(log.outer)
    beyond, behind = body.split_by_plane(cut.normal, float(np.dot(cut.point_m, cut.normal)))
    if cut.limb is not None:
        tip = log.hearts[cut.limb][-1]
        parts = beyond.decompose()
        boxes = [np.array(part.bounding_box()).reshape(2, 3).mean(axis=0) for part in parts]
        behind = body - parts[int(np.argmin([np.linalg.norm(box - tip) for box in boxes]))]
    whole = max(behind.decompose(), key=lambda part: part.volume())
    mesh = whole.to_mesh64()
    solid = Solid(np.asarray(mesh.vert_properties)[:, :3].copy(), np.asarray(mesh.tri_verts).astype(np.int64))
    return replace(log, outer=solid, wood=solid, hearts=kept_hearts(log.hearts, cut))


def places(log: Log) -> list[BuckCut]:
    """Return the cuts that are made by hand."""
    if not log.forks:
        return [stem_cut(log, share * log.length_m) for share in np.linspace(0.3, 0.9, STEM_PLACES)]
    return [
        limb_cut(log, limb, float(at_m))
        for limb in (1, 2)
        for at_m in np.linspace(limb_leaves_m(log, limb) + INCH_M, limb_length_m(log, limb) - 0.15, LIMB_PLACES)
    ]


def main() -> None:
    """Print a line for each log."""
    lays = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    mill = books.mill(pace=PACE)
    for name, log in logs().items():
        problem, weigh = books.problem(log, mill), given_log(log).weigh
        began = time.process_time()
        ways_to_buck(Scouting(problem, weigh), "best")
        seconds = time.process_time() - began
        plan = search_bucked(problem, [problem], lays, "best", weigh).found.plans[0]
        best = 0.0
        for cut in places(log):
            other = books.problem(left_by_hand(log, cut), mill)
            found = search_bucked(other, [other], lays, "no", weigh).found.plans
            best = max(best, max((one.net for one in found), default=0.0))
        cuts = ", ".join(f"{cut.member} at {cut.at_m:.2f} m" for cut in plan.buck_cuts) or "not bucked"
        over = 100.0 * (best / plan.net - 1.0)
        print(
            f"{name}: {cuts}, net {plan.net:.0f}; by hand at best {best:.0f} ({over:+.1f} %); scouting {seconds:.1f} s"
        )


if __name__ == "__main__":
    main()
