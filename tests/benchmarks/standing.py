"""How many rolls of invented forks stand, and what it costs to know.

.venv/bin/python tests/benchmarks/standing.py [forks]
"""

import sys
import time
from math import degrees, radians
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from optimizer.bed.bodies import manifold_of  # noqa: E402
from optimizer.bed.lay import Lay  # noqa: E402
from optimizer.standing.choice import supported  # noqa: E402
from optimizer.standing.standing import standing_of  # noqa: E402
from optimizer.standing.supports import SupportRules  # noqa: E402
from optimizer.standing.table import StandingTable  # noqa: E402
from scans.invented.simulated_log import LogSettings, simulate_log  # noqa: E402
from scans.log import Log  # noqa: E402

MILL = {"first_bunk_m": 0.1524, "bunk_spacing_m": 0.6096, "max_shim_m": 0.1016, "max_prop_m": 0.3048}
ROLLS = 24
DROP_M = 0.0587
"""2 5/16 in: passes of one thickness all the way down."""


def main(forks=8):
    rules = SupportRules(**MILL)
    StandingTable.of(fork(99), None, rules).at(0.0).lay(0.0)  # compiled before anything is timed
    print("seed length limbs volume  possible  stands as it lies  with passes to 8 in  exact says else  us/roll us/lay")
    for seed in range(forks):
        log = fork(seed)
        table = StandingTable.of(log, None, rules)
        body = manifold_of(log.outer)
        possible, whole, sawn, other = 0, 0, 0, 0
        roll_seconds, lay_seconds = [], []
        for roll_deg in np.arange(ROLLS) * 360.0 / ROLLS:
            start = time.perf_counter()
            roll = table.at(radians(roll_deg))
            tilt = roll.resting_tilt_rad
            middle = time.perf_counter()
            lay = roll.lay(tilt)
            lay_seconds.append(time.perf_counter() - middle)
            roll_seconds.append(middle - start)
            possible += lay.is_possible
            heights = np.arange(0.2, lay.row_zero_m + lay.row_m * len(lay.spare_m), DROP_M)
            stands = lay.is_possible and lay.stands()
            whole += stands
            sawn += stands and lay.stands(heights)
            exact = standing_of(body, Lay(roll_deg, degrees(tilt), roll.lift_m(tilt)).log_to_bed, [], rules)
            other += (exact.is_possible and exact.stands) != stands
            supported(exact, 1000.0)
        print(
            f"{seed:4d} {log.length_m:5.2f}m {len(log.hearts) - 1:4d} {body.volume():5.2f}m3 {possible:6d}"
            f" {whole:14d}/{ROLLS} {sawn:17d}/{ROLLS} {other:15d}  {1e6 * np.median(roll_seconds):12.0f}"
            f" {1e6 * np.median(lay_seconds):6.0f}",
            flush=True,
        )


def fork(seed):
    made = simulate_log(np.random.default_rng(seed), LogSettings(limbs=2))
    return Log(name=f"invented fork {seed}", outer=made.solid, wood=made.solid, hearts=made.hearts, forks=made.forks)


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
