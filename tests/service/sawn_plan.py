"""A plan of given heights, made without a search."""

from collections.abc import Sequence
from dataclasses import replace

import books

from optimizer.bed.lay import Lay
from optimizer.documents.mill import Mill
from optimizer.documents.plan import Plan
from optimizer.report.describe import describe
from optimizer.wood.woods import find_wood
from scans.log import Log

MILL: Mill = books.mill(can_flip=True)


def plan_of(log: Log, rows: Sequence[int], flipped_rows: Sequence[int] = (), roll_deg: float = 30.0) -> Plan:
    """Saw a log at these heights in steps, before and after a flip, all layers for the only thickness of the menu."""
    problem = books.problem(log, MILL, books.prices((8,), (7.0,)))
    (entry,) = problem.menu
    lay = Lay(roll_deg, 0.0, 0.0)
    lay = replace(lay, lift_m=-float(lay.to_bed(log.outer.vertices_m)[:, 2].min()))
    flipped = (flipped_rows, [entry] * len(flipped_rows)) if flipped_rows else ()
    priced = problem.pricer.price(lay, rows, [entry] * (len(rows) - 1), *flipped)
    return describe(problem, find_wood("ash, white"), priced, 1, log.wood.volume_m3)
