"""How the plans of invented forks stand: `python tests/benchmarks/plans_stand.py [FORKS] [LAYS]`.

Every plan, the straight way and the level way of each fork are audited from mesh, matrix and passes alone (the tests'
own computation): supports, loads, the least distance of the mass centre from the hull's edge. Every second mill flips.
"""

import json
import sys
import time
from pathlib import Path

import numpy as np

TESTS = Path(__file__).parents[1]
sys.path[:0] = [str(TESTS / "optimizer"), str(TESTS.parent)]

import auditor  # noqa: E402
import books  # noqa: E402
from planned_logs import planned  # noqa: E402

from optimizer.search.no_plan import NoPlanError  # noqa: E402
from scans.invented.simulated_log import LogSettings, simulate_log  # noqa: E402
from scans.log import Log  # noqa: E402
from scans.units import INCH_M, POUND_KG  # noqa: E402

PACE = books.Pace(
    sawing_rate_m2_per_min=0.5, feed_max_m_per_min=3.0, minutes_per_pass=3, minutes_per_slab=8, minutes_per_log=20,
    minutes_per_roll=5, minutes_per_support=3, minutes_per_flip=15, hourly_rate=60,
)  # fmt: skip


def fork(seed: int) -> Log:
    """Return an invented fork of two limbs; three of every third seed."""
    made = simulate_log(np.random.default_rng(seed), LogSettings(limbs=3 if seed % 3 == 2 else 2, edge_m=0.05))
    return Log(name=f"invented fork {seed}", outer=made.solid, wood=made.solid, hearts=made.hearts, forks=made.forks)


def main() -> None:
    """Print a line for each fork, and how many plans did not stand."""
    forks = int(sys.argv[1]) if len(sys.argv) > 1 else 24
    lays = int(sys.argv[2]) if len(sys.argv) > 2 else 60
    audited, fell = 0, 0
    print("seed limbs  lb   plans audited  roll shims blocks tallest  stands by   net  seconds")
    for seed in range(forks):
        log = fork(seed)
        mill = books.mill(first_bunk_m=0.1524, bunk_spacing_m=0.6096, pace=PACE, throat_m=2.0, can_flip=seed % 2 == 1)
        began = time.process_time()
        try:
            document = json.loads(planned(log, mill, lays=lays).model_dump_json())
        except NoPlanError as error:
            print(f"{seed:4d} {len(log.hearts) - 1:5d}  no plan: {error}")
            continue
        seconds = time.process_time() - began
        plans = [plan for plan in (*document["plans"], document["plain_way"], document["hearts_level"]) if plan]
        for plan in plans:
            audited += 1
            try:
                auditor.check_stands(log, document, plan)
            except AssertionError as error:
                fell += 1
                print(f"     plan {plan['rank']} of seed {seed}: {error}")
        best = document["plans"][0]
        kinds = [s["kind"] for s in best["supports"]]
        tallest_in = max(s["height_m"] for s in best["supports"]) / INCH_M
        pounds = document["log"]["mass_kg"] / POUND_KG
        print(
            f"{seed:4d} {len(log.hearts) - 1:5d} {pounds:5.0f} {len(plans):7d} {best['roll_deg']:12.0f}"
            f" {kinds.count('shim'):5d} {kinds.count('prop'):6d} {tallest_in:7.1f}"
            f" {best['stands_by_m'] / INCH_M:10.1f} {best['net']:6.0f} {seconds:8.1f}"
        )
    print(f"{audited} plans audited, {fell} did not stand")


if __name__ == "__main__":
    main()
