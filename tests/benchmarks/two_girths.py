"""How near a bid from two girths and a length comes to what the log then nets: invented stems, the true ones known.

python tests/benchmarks/two_girths.py FIRST LAST prints a line for each seed: the net of the best plan for the true log,
and of the bid its mean, the range from one in ten to nine in ten, and what is safe to pay.
"""

import sys
from pathlib import Path

import numpy as np
import shapely

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "optimizer")]

import books  # noqa: E402
import taped_logs  # noqa: E402
from planned_logs import planned  # noqa: E402

from optimizer.documents.mill import SetUp  # noqa: E402
from scans.invented.simulated_log import LogSettings, simulate_log  # noqa: E402
from scans.log import Log  # noqa: E402
from scans.tape.log_from_sheet import LogSheet, TapedSection, log_from_sheet  # noqa: E402
from service.typed.girths import TAPE_OVER_HOLLOWS  # noqa: E402
from service.use_cases import BID_LAYS, GIRTHS_WIDENED  # noqa: E402

FROM_END_M = 0.03
"""How far from the ends people put the tape."""
SET_UP = SetUp(roll_error_deg=3.0, shim_error_m=0.006, thickness_error_m=0.0008)


def stem(seed):
    """A stem without limbs: the true log, and the one that two girths and a length make of it; without bark."""
    true = simulate_log(np.random.default_rng([seed, 7]), LogSettings(limbs=0, stubs=(0, 0)))
    to_sheet = taped_logs._sheet_frame(true)
    solid = true.solid.moved(to_sheet)
    line = true.hearts[0] @ to_sheet[:3, :3].T + to_sheet[:3, 3]
    end_m = float(line[-1, 0])
    girths_m = [_girth_m(solid, at) for at in (FROM_END_M, end_m - FROM_END_M)]
    sections = tuple(
        TapedSection(at_m=at, girth_m=girth * (1.0 - TAPE_OVER_HOLLOWS))
        for at, girth in zip((0.0, end_m), sorted(girths_m, reverse=True), strict=True)
    )
    known = log_from_sheet(LogSheet(name=f"invented {seed}", length_m=None, bark_on=False, sections=sections), 1.0)
    start_m = solid.bounds_m[0, 0]
    forward = np.eye(4)
    forward[0, 3] = -start_m
    placed = solid.moved(forward)
    return Log(name="truth", outer=placed, wood=placed, hearts=(line - [start_m, 0.0, 0.0],)), known


def _girth_m(solid, at_m):
    """What a tape shows: it lies on ridges alone."""
    return shapely.MultiPoint(taped_logs._ring(solid, at_m)).convex_hull.length


def main(first, last):
    mill = books.mill(set_up=SET_UP)
    held = safe = tried = 0
    for seed in range(first, last):
        try:
            true, known = stem(seed)
        except ValueError as error:
            print(f"{seed}: {error}")
            continue
        net = planned(true, mill, lays=60).plans[0].net
        bid = planned(known, mill, lays=BID_LAYS, doubt=True, widened=GIRTHS_WIDENED).plans[0]
        held += bid.net_p10 <= net <= bid.net_p90
        safe += net >= bid.break_even_safe
        tried += 1
        print(
            f"{seed}: true {net:.0f}, bid {bid.net_expected:.0f} ({bid.net_p10:.0f} to {bid.net_p90:.0f}), safe "
            f"{bid.break_even_safe:.0f}",
            flush=True,
        )
    print(f"{held} of {tried} in the range, {safe} of {tried} made money at the safe price")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:3]))
