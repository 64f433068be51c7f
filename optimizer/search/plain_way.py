"""The plain way: what a good sawyer does by habit, priced like any other.

A stem as it lies (roll 0), a fork with its limbs as flat as it stands (its plane level), or the nearest roll that is
possible; the resting tilt, the first pass at the highest step whose face has a run of minimum width and length, then
drops of the one thickness with the highest net.
"""

from dataclasses import replace
from typing import Literal

import numpy as np

from optimizer.bed.lay import Lay
from optimizer.bed.pricing import Priced
from optimizer.documents.prices import MenuEntry
from optimizer.problem import Problem
from optimizer.search.lays import Stop, never_stop, roll_distance_deg
from optimizer.standing.rolled import Rolled
from optimizer.stations.chords import longest_by_row
from optimizer.stations.lay_table import LayTable
from scans.messages import Note, exact_length, named

ROLL_STEP_DEG = 1.0


PlainStop = Literal["stands", "throat", "throat_depth", "metal", "lowest_blade", "highest_blade", "wood"]


def plain_rolls_deg(problem: Problem) -> tuple[float, ...]:
    """Return the rolls that habit takes: 0 for a stem; both that put a fork's plane level, the smaller turn first."""
    if not problem.log.forks:
        return (0.0,)
    fork = min(problem.log.forks, key=lambda fork: float(fork.crotch_m[0]))
    level_deg = float(np.degrees(np.arctan2(fork.normal[1], fork.normal[2]))) % 180.0
    return tuple(sorted((level_deg, level_deg + 180.0), key=lambda roll_deg: roll_distance_deg(roll_deg, 0.0)))


def plain_way(problem: Problem, stop: Stop = never_stop) -> Priced | None:
    """Return the plain way; None where no roll allows it, and where `stop` says so first."""
    steps = int(180 / ROLL_STEP_DEG)
    meant = plain_rolls_deg(problem)
    # Nearest first; of two as near, the one clockwise, and of what habit takes the smaller turn.
    for offset in sorted(range(-steps + 1, steps + 1), key=lambda k: (abs(k), -k)):
        for roll_deg in meant:
            if stop() is not None:
                return None
            rolled = problem.supports.turned((roll_deg + offset * ROLL_STEP_DEG) % 360.0)
            if problem.tilt_range_deg(rolled) is not None and rolled.stands(rolled.resting_tilt_deg):
                found = _at_roll(problem, rolled)
                if found is not None:
                    return found
    return None


MOST_LEFT = 1.0 / 3.0
"""A sawyer goes on where more of the log's height is left than this (our own rule, no source)."""


def off_habit_deg(problem: Problem, plain: Priced) -> float:
    """Return how far a plain way's roll is from the one that habit would take; 0 where that is possible. [deg]."""
    return min(roll_distance_deg(plain.lay.roll_deg, roll_deg) for roll_deg in plain_rolls_deg(problem))


def why_stopped(problem: Problem, plain: Priced) -> PlainStop | None:
    """Return what stops a plain way before its first slab, or with much of the log left; None where nothing does."""
    rolled = problem.supports.turned(plain.lay.roll_deg)
    tilt_deg, last = plain.lay.tilt_deg, plain.passes[-1].row
    if plain.slabs and plain.passes[-1].blade_height_m <= MOST_LEFT * rolled.height_m(tilt_deg):
        return None
    eased: tuple[tuple[PlainStop, Problem], ...] = (
        ("wood", problem),
        ("metal", _without_metal(problem)),
        ("throat", problem.on(throat_m=_WIDE_M)),
        ("throat_depth", problem.on(throat_depth_m=None)),
        ("stands", problem.on(clamps_hold=True)),
        ("lowest_blade", problem.on(lowest_blade_m=0.0)),
        ("highest_blade", problem.on(highest_blade_m=None)),
    )
    for kind, other in eased:
        table = other.table(other.coarse, other.supports.turned(rolled.roll_deg), tilt_deg, exact=True)
        if any(_passes_on(table, last - entry.drop_steps) for entry in _fitting(other)):
            return None if plain.slabs and kind == "wood" else kind
    return None if plain.slabs else "wood"


def _passes_on(table: LayTable, row: int) -> bool:
    return row >= table.lowest_row and bool(table.possible[row - table.lowest_row])


def why_none(problem: Problem, stop: Stop = never_stop) -> Note:
    """Return the note of a log without a plain way: the first thing without which there would be one.

    Rolls that posts or shims forbid are no rolls that the mill can take. Where `stop` ends it, no reason is given.
    """
    if not _fitting(problem):
        depth = exact_length(problem.terms.throat_depth_m)
        return _no_way(f"every thickness that you price is more, with its kerf, than {named('throat_depth')}, {depth}")
    eased = (
        ("marked metal is in the way of a first cut", _without_metal(problem)),
        ("a first cut is too wide for the mill", problem.on(throat_m=_WIDE_M)),
        ("too much wood stands above a first cut", problem.on(throat_depth_m=None)),
        ("a first cut would be below the lowest blade height", problem.on(lowest_blade_m=0.0)),
        ("a first cut would be above the highest blade height", problem.on(highest_blade_m=None)),
        ("the log does not stand", problem.on(clamps_hold=True)),
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
    for way in sorted(ways, key=lambda way: -way.net):
        checked = problem.checked(way)
        if checked is not None:
            return checked
    return None


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
        if not _passes_on(table, row):
            break
        rows.append(row)
    whole = problem.price_rows(lay, rows, [entry] * (len(rows) - 1))
    # Below the last layer that gives a slab nobody goes on.
    layers = max((slab.layer for slab in whole.slabs), default=0)
    if layers == len(rows) - 1:
        return whole
    return problem.price_rows(lay, rows[: layers + 1], [entry] * layers)
