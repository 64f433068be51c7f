"""How low the proven bound comes, and for how much work, against the best that the search finds.

    python tests/benchmarks/bound.py [log ...]

Seconds are of all threads together, compiling left out. "roots" has looked at the whole turn in the widest boxes only;
"plan" is what a plan does unasked; "gap" is what asking for a gap that cannot be reached goes on to. "one lay" is the
bound of a box hardly wider than the best lay itself: what splitting boxes cannot better.
"""

import sys
import time

from logs import kinds

from optimizer.bound.proof import FINEST_DEG, FINEST_LEVEL, WORK, WORK_FOR_GAP, Bounder, Box, prove
from optimizer.search.lays import search

TIMES = {"roots": 0.0, "plan": WORK, "gap": WORK_FOR_GAP}


def one_lay(problem, lay):
    roll_deg, tilt_deg = lay.roll_deg, lay.tilt_deg
    if roll_deg >= 180.0:  # boxes are of the half turn
        roll_deg, tilt_deg = roll_deg - 180.0, -tilt_deg
    width_deg = FINEST_DEG * 2.0**FINEST_LEVEL
    return Bounder(problem).most(Box(0, FINEST_LEVEL, int(roll_deg / width_deg), (tilt_deg - 1e-4, tilt_deg + 1e-4)))


def main():
    problems = kinds()
    print(f"{'log':<16}{'work':<10}{'seconds':>9}{'boxes':>8}{'upper':>10}{'best':>10}{'gap':>8}")
    for name in sys.argv[1:] or list(problems):
        problem = problems[name]
        best = search(problem, 800).plans[0]
        prove([problem], best.net, work=0.0)  # compiled
        for what, work in TIMES.items():
            start = time.process_time()
            proven = prove([problem], best.net, work=work)
            seconds = time.process_time() - start
            print(
                f"{name:<16}{what:<10}{seconds:>9.2f}{proven.boxes:>8}{proven.upper_net:>10.2f}{best.net:>10.2f}"
                f"{proven.gap(best.net):>8.1%}",
                flush=True,
            )
        most = one_lay(problem, best.lay)
        print(f"{name:<16}{'one lay':<10}{'':>9}{1:>8}{most:>10.2f}{best.net:>10.2f}{1.0 - best.net / most:>8.1%}")


if __name__ == "__main__":
    main()
