"""How the time of a lay and of a search, and the memory, grow with faces, step, menu and length.

python tests/benchmarks/growth.py
"""

import resource
import subprocess
import sys
import time

import numpy as np
from logs import books, refined, shapes

from optimizer.search.lays import scout, search
from scans.units import INCH_M

CASES = {
    "base": {},
    "faces x 4": {"spacing_m": 0.0075},
    "faces / 4": {"spacing_m": 0.03},
    "step 1/32 in": {"step_m": INCH_M / 32},
    "step 1/8 in": {"step_m": INCH_M / 8},
    "menu of 1": {"quarters": (8,)},
    "menu of 6": {"quarters": (4, 5, 6, 8, 10, 12)},
    "length x 2": {"length": 2.0},
    "with a flip": {"flip": True},
}


def problem_of(spacing_m=0.015, step_m=INCH_M / 16, quarters=(4, 8, 12), length=1.0, flip=False):
    log = refined(shapes.forked(lumpy=0.06, stem_length_m=1.4 * length, limb_length_m=1.8 * length), spacing_m)
    mill = books.mill(height_step_m=step_m, kerf_m=INCH_M / 16 if step_m < INCH_M / 8 else INCH_M / 8, can_flip=flip)
    amounts = tuple(4.0 + 0.35 * q for q in quarters)
    return books.problem(log, mill, books.prices(quarters, amounts))


def one(case):
    problem = problem_of(**CASES[case])
    search(problem, 40)
    rolled = [problem.supports.turned(r) for r in np.arange(0.0, 360.0, 12.0)]
    start = time.perf_counter()
    for roll in rolled:
        scout(problem, problem.coarse, roll, roll.resting_tilt_deg)
    lay_ms = (time.perf_counter() - start) / len(rolled) * 1e3
    start = time.perf_counter()
    search(problem, 800)
    search_s = time.perf_counter() - start
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    print(f"{len(problem.log.outer.faces)} {lay_ms} {search_s} {peak_mb}")


def main():
    print(f"{'case':<14}{'faces':>9}{'ms a lay':>10}{'ratio':>7}{'search s':>10}{'ratio':>7}{'peak MB':>9}")
    base = None
    for case in CASES:
        out = subprocess.run([sys.executable, __file__, case], capture_output=True, text=True, check=True).stdout
        faces, lay_ms, search_s, peak_mb = (float(v) for v in out.split())
        base = base or (lay_ms, search_s)
        print(
            f"{case:<14}{faces:>9.0f}{lay_ms:>10.2f}{lay_ms / base[0]:>7.2f}{search_s:>10.2f}"
            f"{search_s / base[1]:>7.2f}{peak_mb:>9.0f}",
            flush=True,
        )


if __name__ == "__main__":
    one(sys.argv[1]) if len(sys.argv) > 1 else main()
