"""Lays priced a second, on one core and on two, and the ratio to general slicing in the same run.

python tests/benchmarks/lays.py
"""

import time
from concurrent.futures import ThreadPoolExecutor

from general_slicing import GeneralLay
from logs import kinds

from optimizer.search.lays import scout

LAYS = 120


def rate(problem, workers):
    jobs = []
    for k in range(LAYS):
        rolled = problem.supports.turned(360.0 * k / LAYS)
        if problem.tilt_range_deg(rolled) is not None:
            jobs.append((rolled, rolled.resting_tilt_deg))
    scout(problem, problem.coarse, *jobs[0])
    with ThreadPoolExecutor(workers) as pool:
        start = time.perf_counter()
        list(pool.map(lambda job: scout(problem, problem.coarse, *job), jobs))
        return len(jobs) / (time.perf_counter() - start)


def main():
    print(f"{'log':<16}{'faces':>8}{'rows':>6}{'1 core':>10}{'2 cores':>10}{'gain':>6}{'general':>10}{'ratio':>8}")
    print(f"{'':<16}{'':>8}{'':>6}{'lays/s':>10}{'lays/s':>10}{'':>6}{'s a lay':>10}{'':>8}")
    for name, problem in kinds().items():
        one, two = rate(problem, 1), rate(problem, 2)
        rolled = problem.supports.turned(90.0)
        lay, height_m = rolled.lay(rolled.resting_tilt_deg), rolled.height_m(rolled.resting_tilt_deg)
        start = time.perf_counter()
        GeneralLay(problem, lay, height_m).best()
        general_s = time.perf_counter() - start
        rows = int(height_m / problem.mill.height_step_m)
        faces = len(problem.log.outer.faces)
        print(
            f"{name:<16}{faces:>8}{rows:>6}{one:>10.0f}{two:>10.0f}{two / one:>6.2f}"
            f"{general_s:>10.1f}{one * general_s:>8.0f}",
            flush=True,
        )


if __name__ == "__main__":
    main()
