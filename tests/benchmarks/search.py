"""How near the search comes to the best known lay, and how soon, against general-purpose optimizers.

    python tests/benchmarks/search.py [seeds] [log ...]

Differential evolution, dual annealing and DIRECT (scipy) climb the same objective, the best passes of a lay on
the same stations, with as many evaluations as the search used, on one core; like the search's, their winner is worked
out on finer stations and priced on the mesh. The search is deterministic: it has one row for each number of
lays, the others have the median and the worst of their seeds. The best known is the best of all runs and of a long
search.
"""

import sys
import time

import numpy as np
from logs import kinds
from scipy.optimize import differential_evolution, direct, dual_annealing

from optimizer.search.lays import price_scouted, scout, search

LAYS = (150, 300, 800)
LONG = 4000


class Objective:
    """Minus the net of (roll in degrees, share of the way from the lowest tilt to the highest)."""

    def __init__(self, problem, budget):
        self.problem, self.budget = problem, budget
        self.count, self.best, self.best_at = 0, 0.0, None

    def place(self, point):
        rolled = self.problem.supports.turned(float(point[0]) % 360.0)
        limits = self.problem.tilt_range_deg(rolled)
        return rolled, None if limits is None else limits[0] + float(point[1]) * (limits[1] - limits[0])

    def __call__(self, point):
        if self.count >= self.budget:
            return 0.0
        self.count += 1
        rolled, tilt_deg = self.place(point)
        if tilt_deg is None:
            return 0.0
        net = scout(self.problem, self.problem.coarse, rolled, tilt_deg).net
        if net > self.best:
            self.best, self.best_at = net, point.copy()
        return -net

    def priced(self):
        if self.best_at is None:
            return 0.0
        rolled, tilt_deg = self.place(self.best_at)
        priced = price_scouted(self.problem, scout(self.problem, self.problem.fine, rolled, tilt_deg, exact=True))
        return 0.0 if priced is None else priced.net


BOUNDS = [(0.0, 360.0), (0.0, 1.0)]
METHODS = {
    "differential evolution": lambda f, n, seed: differential_evolution(
        f, BOUNDS, maxiter=max(1, n // 30 - 1), popsize=15, rng=seed, polish=False, tol=0.0
    ),
    "dual annealing": lambda f, n, seed: dual_annealing(f, BOUNDS, maxfun=n, rng=seed),
    "DIRECT": lambda f, n, _seed: direct(f, BOUNDS, maxfun=n, maxiter=10_000),
}


def main():
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    problems = kinds()
    print(f"{'log':<16}{'method':<24}{'lays':>6}{'seconds':>9}{'net':>10}{'behind':>9}{'worst':>9}")
    for name in sys.argv[2:] or list(problems):
        problem = problems[name]
        search(problem, 40)  # compiled, and the stations cut
        rows = []
        for lays in LAYS:
            start = time.perf_counter()
            found = search(problem, lays)
            rows.append((f"search, {lays} lays", found.lays, time.perf_counter() - start, [found.plans[0].net]))
        budget = rows[-1][1]
        for method, run in METHODS.items():
            nets, start = [], time.perf_counter()
            runs = 1 if method == "DIRECT" else seeds
            for seed in range(runs):
                objective = Objective(problem, budget)
                run(objective, budget, seed)
                nets.append(objective.priced())
            rows.append((method, budget, (time.perf_counter() - start) / runs, nets))
        best = max(search(problem, LONG).plans[0].net, *(net for row in rows for net in row[3]))
        for method, lays, seconds, nets in rows:
            middle, worst = float(np.median(nets)), min(nets)
            print(
                f"{name:<16}{method:<24}{lays:>6}{seconds:>9.2f}{middle:>10.2f}{1 - middle / best:>9.2%}"
                f"{1 - worst / best:>9.2%}",
                flush=True,
            )


if __name__ == "__main__":
    main()
