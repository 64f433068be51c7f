"""A grid search by general slicing over the whole turn: does it find anything above rank 1?

    python tests/benchmarks/whole_turn.py [rolls] [log]

At each roll the resting tilt is tried. The general way has no margins and no stations, so it may find a
little more at the same lay; nothing should be more than 0.5 % above rank 1.
"""

import sys
import time
from concurrent.futures import ProcessPoolExecutor

from general_slicing import GeneralLay
from logs import kinds

from optimizer.planning import DEFAULT_LAYS
from optimizer.search.lays import search

PROBLEMS = {}


def general_net(job):
    name, roll_deg = job
    if not PROBLEMS:
        PROBLEMS.update(kinds())
    problem = PROBLEMS[name]
    rolled = problem.supports.turned(roll_deg)
    if problem.tilt_range_deg(rolled) is None:
        return None
    tilt_deg = rolled.resting_tilt_deg
    return GeneralLay(problem, rolled.lay(tilt_deg), rolled.height_m(tilt_deg)).best()


def main():
    rolls = int(sys.argv[1]) if len(sys.argv) > 1 else 36
    problems = kinds()
    names = sys.argv[2:] or list(problems)
    heads = [("rank 1", 10), ("at roll", 9), ("search s", 10), ("grid best", 11)]
    heads += [("at roll", 9), ("over", 8), ("grid s", 8)]
    print(f"{'log':<16}" + "".join(f"{head:>{width}}" for head, width in heads))
    with ProcessPoolExecutor(2) as pool:
        for name in names:
            problem = problems[name]
            start = time.perf_counter()
            best = search(problem, DEFAULT_LAYS).plans[0]
            search_s = time.perf_counter() - start
            start = time.perf_counter()
            grid = [360.0 * k / rolls for k in range(rolls)]
            nets = list(pool.map(general_net, [(name, roll) for roll in grid]))
            grid_s = time.perf_counter() - start
            net, roll = max((n, r) for n, r in zip(nets, grid, strict=True) if n is not None)
            over = net / best.net - 1.0
            print(
                f"{name:<16}{best.net:>10.2f}{best.lay.roll_deg:>9.1f}{search_s:>10.1f}{net:>11.2f}{roll:>9.1f}"
                f"{over:>8.2%}{grid_s:>8.0f}",
                flush=True,
            )


if __name__ == "__main__":
    main()
