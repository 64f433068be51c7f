"""What a plan brings on possible logs: its net, its board feet, the face that its first pass opens.

The same measures as the search's (stations, layers), but only at the heights that the plan has, so that a plan is
tried on a log in a millisecond or so.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from math import cos, radians

import numba
import numpy as np

from optimizer.bed.lay import Lay
from optimizer.bed.pricing import Priced
from optimizer.bed.sawn_layers import layers_between
from optimizer.doubt.possible_logs import PossibleLog
from optimizer.doubt.values import possible_terms
from optimizer.problem import Problem
from optimizer.stations.chords import Chords, reach_of_chords, wood_by_row
from optimizer.stations.inside import Inside
from optimizer.stations.lay_table import BoolArray, turned_inside
from optimizer.stations.layers import layer_value, room_for
from optimizer.stations.pair_tables import wide_ends
from optimizer.stations.stations import Rings, Stations
from optimizer.stations.terms import Terms, sawing_cost
from scans.log import FloatArray, IntArray

_BINS = 1024
"""Heights among which the first level above a segment is looked up."""


@dataclass(frozen=True, eq=False)
class Heights:
    """A plan as heights in the first bed frame. [m].

    pass_m : (P,) the bottoms of the kerfs, as the blade goes over the first bed frame; flipped : (P,) whether it goes
    upside down there, its kerf below. upper, lower : (L,) the passes whose faces bound each layer that is for sale;
    lower_kerf, upper_kerf : (L,) how many kerfs the face lies above, or below, the pass. entries : (L,) of the menu.
    made : how many passes are sawn already, and so went through the throat. may_pair : (L,) whether a layer and the
    next may be a pair.
    """

    roll_deg: float
    tilt_deg: float
    pass_m: FloatArray
    upper: IntArray
    lower: IntArray
    upper_kerf: IntArray
    lower_kerf: IntArray
    entries: IntArray
    fixed_cost: float
    made: int = 0
    may_pair: BoolArray = field(default_factory=lambda: np.zeros(0, dtype=np.bool_))

    @classmethod
    def of(cls, problem: Problem, plan: Priced, made: int = 0) -> "Heights":
        """Return the heights of a plan, of which some passes are made."""
        before = [p.blade_height_m for p in plan.passes if not p.flipped]
        face_m = plan.flip_face_m
        after = [face_m - p.blade_height_m for p in plan.passes if p.flipped and face_m is not None]
        meant = plan.entries if face_m is None else (*plan.entries, plan.bed_entry)
        rows: list[tuple[int, int, int, int, int]] = []
        sold: list[tuple[int, bool, int]] = []
        for layer, entry in zip(layers_between(plan.passes, problem.mill.kerf_m), meant, strict=True):
            if entry is None:
                continue
            upper, lower = layer.upper_pass, layer.lower_pass
            if lower is None:
                faces = len(before) - 1, upper, 0, 0
            elif layer.flipped:
                # Seen from the first bed frame, the later of two passes after the flip is the upper one.
                faces = lower, upper, -1, 0
            else:
                faces = upper, lower, 0, 1
            rows.append((*faces, problem.menu.index(entry)))
            sold.append((layer.number, layer.flipped, entry.quarters))
        columns = np.array(rows, dtype=np.int64).reshape(-1, 5)
        pairs = [(number + 1, *rest) == after for (number, *rest), after in pairwise(sold)]
        # What comes of the bolts is known no better than they were scouted: the same on every possible log.
        beside = problem.buck_cost - plan.bolts_worth
        return cls(
            plan.lay.roll_deg,
            plan.lay.tilt_deg,
            np.array([*before, *after]),
            *_columns(columns),
            plan.set_up_cost + beside + (problem.mill.money(problem.mill.pace.minutes_per_flip) if after else 0.0),
            made,
            np.array([*pairs, False][: len(sold)], dtype=np.bool_),
        )


def _columns(rows: IntArray) -> tuple[IntArray, IntArray, IntArray, IntArray, IntArray]:
    a, b, c, d, e = (np.ascontiguousarray(rows[:, k]) for k in range(5))
    return a, b, c, d, e


@dataclass(frozen=True, eq=False)
class Outcomes:
    """What a plan brings on N possible logs: (N,) each. Faces are the largest piece of wood that the pass opens. [m].

    With no wood on the face both are 0.
    """

    net: FloatArray
    board_feet: FloatArray
    face_width_m: FloatArray
    face_length_m: FloatArray


def outcomes(problem: Problem, plan: Heights, logs: Sequence[PossibleLog], face: int = 0) -> Outcomes:
    """Try a plan on possible logs. face : the pass whose face is measured, from 0."""
    terms = possible_terms(problem)
    feet = _feet_terms(terms)
    rows = np.array([_outcome(problem, plan, log, (terms, feet), face) for log in logs]).reshape(-1, 4)
    return Outcomes(*(np.ascontiguousarray(rows[:, k]) for k in range(4)))


def _feet_terms(terms: Terms) -> Terms:
    """Terms by which a layer is worth its board feet."""
    return terms._replace(
        counting=terms.counting._replace(slab_with_heart=0.0, row_entry=np.zeros(0, dtype=np.int64)),
        price=np.ones_like(terms.price),
        width_at_m=np.zeros(1),
        width_factor=np.ones(1),
        feather_per_board_foot=np.zeros_like(terms.price),
        drying_per_board_foot=np.zeros_like(terms.price),
        slab_cost=0.0,
    )


def _outcome(
    problem: Problem, plan: Heights, log: PossibleLog, terms: tuple[Terms, Terms], face: int
) -> tuple[float, float, float, float]:
    money, feet = terms
    lay, stations = log.lay(plan.roll_deg, plan.tilt_deg), log.stations
    pass_m = plan.pass_m + log.blade_off_m[: len(plan.pass_m)]
    upper_m = pass_m[plan.upper] + plan.upper_kerf * money.kerf_m
    lower_m = pass_m[plan.lower] + plan.lower_kerf * money.kerf_m
    levels = np.unique(np.concatenate([pass_m, upper_m, lower_m]))
    chords = level_chords(stations.wood, stations, lay, levels)
    at_pass, at_upper, at_lower = (np.searchsorted(levels, m) for m in (pass_m, upper_m, lower_m))
    reach_m = np.full(len(levels), log.width_m(plan.roll_deg))
    if reach_m[0] > money.widest_reach_m - log.reach_spare_m:
        outer = chords if stations.outer is stations.wood else level_chords(stations.outer, stations, lay, levels)
        reach_m = reach_of_chords(outer, len(levels))
    tilt_cos = cos(radians(lay.tilt_deg))
    area, length, *_ = wood_by_row(
        chords, stations.cell_m, stations.first, stations.last, money.min_width_m, money.min_length_m * tilt_cos,
        money.worth_step_m, money.worth_m,
    )  # fmt: skip
    fits = (reach_m > 0.0) & (reach_m <= money.widest_reach_m - log.reach_spare_m)
    sawing = sawing_cost(money, length, area)[at_pass] / tilt_cos
    cost = len(pass_m) * money.pass_cost + float(sawing.sum()) + plan.fixed_cost
    inside = turned_inside(stations, lay, problem.heart)
    sound = inside._replace(most=0, most_figured=0, best_feather=0.0)
    through = fits[at_pass]
    through[: plan.made] = True
    net, board_feet, value = _layers(
        cost, money, feet, inside, sound, chords, stations.first, stations.last,
        float(stations.cell_m[stations.first]) / tilt_cos, plan.entries, through[plan.upper] & through[plan.lower],
        at_upper, at_lower, upper_m, lower_m,
    )  # fmt: skip
    if problem.rules.pair_premium > 0.0 and plan.may_pair.any():
        costless = money._replace(slab_cost=0.0, drying_per_board_foot=np.zeros_like(money.drying_per_board_foot))
        _, _, prices = _layers(
            0.0, costless, feet, inside, sound, chords, stations.first, stations.last,
            float(stations.cell_m[stations.first]) / tilt_cos, plan.entries, value > 0.0, at_upper, at_lower, upper_m,
            lower_m,
        )  # fmt: skip
        ends = wide_ends(chords, np.ones(len(levels)), 0, stations.first, stations.last, money.min_width_m)
        needed = money.min_length_m * tilt_cos / float(stations.cell_m[stations.first])
        net += problem.rules.pair_premium * _best_pairing(prices, plan.may_pair, ends, at_upper, at_lower, needed)
    width_m, length_m = largest_piece(chords, int(at_pass[face]), stations.cell_m)
    return net, board_feet, width_m, length_m / tilt_cos


@numba.njit(cache=True, nogil=True)
def _layers(
    cost: float,
    money: Terms,
    feet: Terms,
    inside: Inside,
    sound: Inside,
    chords: Chords,
    first: int,
    last: int,
    cell_m: float,
    entries: IntArray,
    is_sawn: BoolArray,
    at_upper: IntArray,
    at_lower: IntArray,
    upper_m: FloatArray,
    lower_m: FloatArray,
) -> tuple[float, float, FloatArray]:
    """Return what the layers of a plan bring less its cost, their board feet, and what each brings, (L,).

    is_sawn : (L,) whether both passes beside a layer went through. sound : the inside without flaws or figure.
    at_upper, at_lower : (L,) rows of the faces. upper_m, lower_m : (L,) their heights.
    """
    room = room_for(last - first, chords.most, inside.most, inside.most_figured)
    simple = chords.most <= 2
    net, board_feet, values = -cost, 0.0, np.zeros(len(entries))
    for k in range(len(entries)):
        if not is_sawn[k]:
            continue
        value = layer_value(
            money, entries[k], chords, at_upper[k], chords, at_lower[k], first, last, cell_m, simple, inside,
            lower_m[k], upper_m[k], room, 0.0,
        )  # fmt: skip
        if value > 0.0:
            net += value
            values[k] = value
            board_feet += layer_value(
                feet, entries[k], chords, at_upper[k], chords, at_lower[k], first, last, cell_m, simple, sound,
                lower_m[k], upper_m[k], room, 0.0,
            )  # fmt: skip
    return net, board_feet, values


@numba.njit(cache=True, nogil=True)
def _best_pairing(
    prices: FloatArray, may_pair: BoolArray, ends: IntArray, at_upper: IntArray, at_lower: IntArray, needed: float
) -> float:
    """Return the most that the prices of disjoint pairs of neighbouring layers are together.

    ends : (rows, 2) stations between which a face is wide enough; see pair_tables for what that leaves out. needed :
    how many cells the two must share.
    """
    before, best = 0.0, 0.0
    for k in range(1, len(prices)):
        with_pair = 0.0
        if may_pair[k - 1] and prices[k - 1] > 0.0 and prices[k] > 0.0:
            begin, end = ends[at_upper[k], 0], ends[at_upper[k], 1]
            for row in (at_upper[k - 1], at_lower[k - 1], at_lower[k]):
                begin, end = max(begin, ends[row, 0]), min(end, ends[row, 1])
            if end - begin >= needed:
                with_pair = before + prices[k - 1] + prices[k]
        before, best = best, max(best, with_pair)
    return best


def level_chords(rings: Rings, stations: Stations, lay: Lay, levels_m: FloatArray) -> Chords:
    """Return where bed heights (R,), rising, cross the rings of each station; row r stands for levels_m[r]."""
    angles = radians(lay.roll_deg), radians(lay.tilt_deg)
    slots = 4
    table = _level_chords(rings.offsets, rings.segments, stations.x_m, *angles, lay.lift_m, levels_m, slots)
    if table.most > slots:
        slots = table.most + table.most % 2
        table = _level_chords(rings.offsets, rings.segments, stations.x_m, *angles, lay.lift_m, levels_m, slots)
    return table


@numba.njit(cache=True, nogil=True)
def _level_chords(
    offsets: IntArray,
    segments: FloatArray,
    x_m: FloatArray,
    roll: float,
    tilt: float,
    lift_m: float,
    levels_m: FloatArray,
    slots: int,
) -> Chords:
    n, rows = len(offsets) - 1, len(levels_m)
    counts = np.zeros((rows, n), dtype=np.uint8)
    y = np.zeros((rows, slots, n), dtype=np.float32)
    y[:, 0, :] = np.inf
    y[:, 1, :] = -np.inf
    most = 0
    cr, sr, ct, st = np.cos(roll), np.sin(roll), np.cos(tilt), np.sin(tilt)
    # Most segments are short and cross no level: the first level at or above a height is looked up, not searched.
    bottom_m, top_m = levels_m[0], levels_m[rows - 1]
    per_m = _BINS / max(top_m - bottom_m, 1e-9)
    begins = np.searchsorted(levels_m, bottom_m + (np.arange(_BINS + 2) - 1.0) / per_m)
    for i in range(n):
        rise_m = lift_m + x_m[i] * st
        for s in range(offsets[i], offsets[i + 1]):
            z0 = (segments[s, 0] * sr + segments[s, 1] * cr) * ct + rise_m
            z1 = (segments[s, 2] * sr + segments[s, 3] * cr) * ct + rise_m
            low_m, high_m = min(z0, z1), max(z0, z1)
            if high_m <= bottom_m or low_m > top_m:
                continue
            # Half-open: a level at an end point belongs to the segment above it, so that rings are crossed evenly.
            r = 0 if low_m <= bottom_m else begins[int((low_m - bottom_m) * per_m)]
            while r < rows and levels_m[r] < low_m:
                r += 1
            while r < rows and levels_m[r] < high_m:
                y0, y1 = segments[s, 0] * cr - segments[s, 1] * sr, segments[s, 2] * cr - segments[s, 3] * sr
                value = np.float32(y0 + (y1 - y0) * (levels_m[r] - z0) / (z1 - z0))
                at = int(counts[r, i])
                counts[r, i] = at + 1
                most = max(most, at + 1)
                if at < slots:
                    while at > 0 and y[r, at - 1, i] > value:
                        y[r, at, i] = y[r, at - 1, i]
                        at -= 1
                    y[r, at, i] = value
                r += 1
    return Chords(counts, y, most)


@numba.njit(cache=True, nogil=True)
def largest_piece(chords: Chords, row: int, cell_m: FloatArray) -> tuple[float, float]:
    """Return the greatest width, and the length along the log, of the largest piece of wood on a face. [m]."""
    n = chords.counts.shape[1]
    slots = chords.y.shape[1] // 2
    owner = np.full((n, slots), -1, dtype=np.int64)
    parent = np.arange(n * slots)
    for i in range(n):
        for c in range(chords.counts[row, i] // 2):
            own = i * slots + c
            owner[i, c] = own
            if i == 0:
                continue
            for d in range(chords.counts[row, i - 1] // 2):
                meets = (
                    chords.y[row, 2 * c, i] < chords.y[row, 2 * d + 1, i - 1]
                    and chords.y[row, 2 * d, i - 1] < chords.y[row, 2 * c + 1, i]
                )
                if meets:
                    a, b = own, (i - 1) * slots + d
                    while parent[a] != a:
                        a = parent[a]
                    while parent[b] != b:
                        b = parent[b]
                    parent[max(a, b)] = min(a, b)
    area, width, length = np.zeros(n * slots), np.zeros(n * slots), np.zeros(n * slots)
    for i in range(n):
        before, here = -1, 0.0
        for c in range(chords.counts[row, i] // 2):
            a = owner[i, c]
            while parent[a] != a:
                a = parent[a]
            span = np.float64(chords.y[row, 2 * c + 1, i]) - np.float64(chords.y[row, 2 * c, i])
            here = here + span if a == before else span
            if a != before:
                length[a] += cell_m[i]
            area[a] += span * cell_m[i]
            width[a] = max(width[a], here)
            before = a
    best = int(np.argmax(area))
    return width[best], length[best]
