"""The suite of invented scans: what its 24 seeds hold, and how long each takes. Clutter in the odd ones.

.venv/bin/python tests/benchmarks/simulated.py [points]
"""

import sys
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from scans.invented.simulator import Label, random_settings, simulate  # noqa: E402

SEEDS = 24
SHOWN = (Label.GRASS, Label.BUNK, Label.STONE, Label.BOOT, Label.OTHER_LOG)


def main(points=350_000):
    simulate(0, random_settings(0, clutter=False, points=1000))
    headings = " ".join(f"{label.name.lower():>9}" for label in SHOWN)
    print(f"seed {'kind':<14} length  diam.  points    log   seen  top  {headings}  seconds")
    taken = []
    for seed in range(SEEDS):
        settings = random_settings(seed, clutter=seed % 2 == 1, points=points)
        start = time.perf_counter()
        scan = simulate(seed, settings)
        taken.append(time.perf_counter() - start)
        counts = np.bincount(scan.labels, minlength=len(Label))
        clutter = " ".join(f"{counts[label]:9d}" for label in SHOWN)
        top = "no " if settings.phone.unseen_top_deg[1] else "yes"
        print(
            f"{seed:4d} {scan.truth.kind:<14} {scan.truth.length_m:5.2f}m {scan.truth.diameter_m:5.2f}m "
            f"{len(scan.labels):7d} {counts[Label.LOG]:6d} {scan.seen_share:6.1%}  {top}  {clutter}  {taken[-1]:7.2f}",
            flush=True,
        )
    print(f"seconds: median {np.median(taken):.2f}, most {max(taken):.2f}")


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
