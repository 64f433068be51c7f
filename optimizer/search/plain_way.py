"""The plain way: what a sawyer would do without a plan, priced like any other.

Roll 0 (or the nearest possible), the resting tilt, the first pass at the highest step whose face has a run
of minimum width and length, then drops of the one thickness with the highest net.
"""

from dataclasses import replace

import numpy as np

from optimizer.bed.lay import Lay, Rolled
from optimizer.bed.pricing import Priced
from optimizer.documents.prices import MenuEntry
from optimizer.problem import Problem
from optimizer.search.lays import Stop, never_stop
from optimizer.stations.chords import longest_by_row
from optimizer.stations.lay_table import LayTable
from scans.messages import Note, exact_length, named

ROLL_STEP_DEG = 1.0


def plain_way(problem: Problem, stop: Stop = never_stop) -> Priced | None:
    """Return the plain way; None where no roll allows it, and where `stop` says so first."""
    steps = int(180 / ROLL_STEP_DEG)
    # Nearest first; of two as near, the one clockwise.
    for offset in sorted(range(-steps + 1, steps + 1), key=lambda k: (abs(k), -k)):
        if stop() is not None:
            return None
        rolled = problem.supports.turned(offset * ROLL_STEP_DEG % 360.0)
        if problem.tilt_range_deg(rolled) is not None:
            found = _at_roll(problem, rolled)
            if found is not None:
                return found
    return None


def why_none(problem: Problem, stop: Stop = never_stop) -> Note:
    """Return the note of a log without a plain way: the first thing without which there would be one.

    Rolls that posts or shims forbid are no rolls that the mill can take. Where `stop` ends it, no reason is given.
    """
    if not _fitting(problem):
        depth = exact_length(problem.terms.throat_depth_m)
        return _no_way(f"every thickness that you price is more, with its kerf, than {named('throat_depth')}, {depth}")
    eased = (
        ("marked metal is in the way of a first cut", _without_metal(problem)),
        ("a first cut is too wide for the mill", _on(problem, throat_m=_WIDE_M)),
        ("too much wood stands above a first cut", _on(problem, throat_depth_m=None)),
        ("a first cut would be below the lowest blade height", _on(problem, lowest_blade_m=0.0)),
        ("a first cut would be above the highest blade height", _on(problem, highest_blade_m=None)),
    )
    # Each is tried in turn, as a try may take seconds.
    why = next((why for why, other in eased if plain_way(other, stop) is not None), "")
    if not why and stop() is None:
        why = "no first cut opens a face that gives a slab"
    return _no_way(f"at every roll that the mill can take, {why}" if why else "")


def _no_way(why: str) -> Note:
    text = "Can't compare with sawing the log straight through, as it lies"
    return Note("no_plain_way", f"{text}{': ' if why else ''}{why}.", bears_on_plan=True)


_WIDE_M = 10.0
"""Wider than any log."""


def _without_metal(problem: Problem) -> Problem:
    left = tuple(mark for mark in problem.marks if mark.kind != "metal")
    whole = None if problem.whole is None else _without_metal(problem.whole)
    return replace(problem, marks=left, whole=whole)


def _on(problem: Problem, **changes: float | None) -> Problem:
    return replace(problem, mill=problem.mill.changed(**changes))


def _fitting(problem: Problem) -> list[MenuEntry]:
    """Return the thicknesses that a layer may have: none is thicker than the wood that fits above the blade."""
    terms = problem.terms
    return [entry for entry in problem.menu if entry.drop_steps * terms.step_m <= terms.throat_depth_m + 1e-9]


def _at_roll(problem: Problem, rolled: Rolled) -> Priced | None:
    tilt_deg = rolled.resting_tilt_deg
    lay = rolled.lay(tilt_deg)
    table = problem.table(problem.coarse, rolled, tilt_deg, exact=True)
    first = _first_row(problem, lay, table)
    if first is None:
        return None
    ways = [_drops_of(problem, lay, table, first, entry) for entry in _fitting(problem)]
    return max(ways, key=lambda way: way.net, default=None)


def _first_row(problem: Problem, lay: Lay, table: LayTable) -> int | None:
    stations, limits = problem.coarse, problem.prices.limits
    rows = len(table.possible)
    longest = longest_by_row(table.upper.chords, stations.first, stations.last, 0.9 * limits.min_width_m)[:rows]
    # The stations only say where to look; the mesh decides.
    needed = limits.min_length_m / stations.cell_m[stations.first] - 2.0
    heights_m = (table.lowest_row + np.arange(rows)) * problem.mill.height_step_m
    may_be = table.possible & table.may_be_first & (longest >= needed)
    bed = problem.bodies.on_bed(lay)
    for row in np.flatnonzero(may_be)[::-1]:
        if problem.pricer.face_gives_a_slab(bed, float(heights_m[row])):
            return int(table.lowest_row + row)
    return None


def _drops_of(problem: Problem, lay: Lay, table: LayTable, first: int, entry: MenuEntry) -> Priced:
    rows = [first]
    while True:
        row = rows[-1] - entry.drop_steps
        if row < table.lowest_row or not table.possible[row - table.lowest_row]:
            break
        rows.append(row)
    whole = problem.price_rows(lay, rows, [entry] * (len(rows) - 1))
    # Below the last layer that gives a slab nobody goes on.
    layers = max((slab.layer for slab in whole.slabs), default=0)
    if layers == len(rows) - 1:
        return whole
    return problem.price_rows(lay, rows[: layers + 1], [entry] * layers)
