"""One lay at every blade height: what each pass asks of the mill, and the wood on each face that it opens.

Row r stands for the bed height (lowest_row + r) x step.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, cos, radians, sin
from typing import NamedTuple

import numba
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from optimizer.bed.lay import Lay
from optimizer.bed.sawn_layers import cut_meets
from optimizer.bed.zones import alignment
from optimizer.stations.chords import Chords, chord_table, reach_by_row, reach_of_chords, turn_rings, wood_by_row
from optimizer.stations.inside import Inside, heart_sections, heights_of_hearts, shown_at_rows
from optimizer.stations.stations import Stations
from optimizer.stations.terms import MEAN_FACE, MIDDLE, THREE, WIDE, Terms, sawing_cost
from scans.log import FloatArray, IntArray

BoolArray = NDArray[np.bool_]
HEIGHT_HAIR_M = 1e-9
"""A blade height so little over its limit is at it."""


class Faces(NamedTuple):
    """Faces at every row, or a kerf above or below it.

    chords, shift : the face of row r is row r + shift of the table; none where that is beyond the table.
    simple : (table rows,) whether a face has one interval of wood at most at every usable station.
    usable_m2 : (rows,) the most that runs can hold on the face. usable_worth_m2 : (rows,) a bound on their areas times
        their width factors. best_factor : (rows,) the greatest width factor that a slab of this face can have.
    """

    chords: Chords
    shift: int
    simple: BoolArray
    usable_m2: FloatArray
    usable_worth_m2: FloatArray
    best_factor: FloatArray


@dataclass(frozen=True)
class HeartStrip:
    """How wide the heart strip is, and what share of the price is lost on it, and of a whole slab with heart. [m]."""

    radius_m: float
    share: float
    slab_share: float = 0.0


class LayTable(NamedTuple):
    """What each row of a lay meets.

    possible, may_be_first : (rows,) whether the mill can make the pass; whether so little wood stands above it that
        it can be the first. possible_flipped, may_be_first_flipped : the same after a flip, with the log upside
        down: the kerf lies on the other side of the pass.
    pass_cost : (rows,). first, last : usable stations. cell_m : length of their cells along the bed.
    upper, lower, under : faces at the passes, a kerf above them, and a kerf below them (where faces are after a
        flip; the same as `upper` where the mill cannot flip).
    """

    lowest_row: int
    possible: BoolArray
    may_be_first: BoolArray
    possible_flipped: BoolArray
    may_be_first_flipped: BoolArray
    pass_cost: FloatArray
    first: int
    last: int
    cell_m: float
    upper: Faces
    lower: Faces
    under: Faces
    inside: Inside


def lay_table(
    stations: Stations,
    lay: Lay,
    height_m: float,
    terms: Terms,
    heart: HeartStrip,
    reach_m: FloatArray | None = None,
    forbidden_m: Sequence[tuple[float, float]] = (),
) -> LayTable:
    """Meet every blade height with the wood.

    height_m : how high the log stands above the bunks. reach_m : (rows,) the exact reach of each row
    where it is known; else it is taken at the stations. forbidden_m : heights (from, to) that no blade may
    stand between: metal and its keep-out.
    """
    lowest, rows = lowest_row(terms), row_count(height_m, terms)
    tilt = radians(lay.tilt_deg)
    wood = _turned(stations, lay, terms, outer=False)
    # Where the kerf is a whole number of steps, the faces beside a pass are rows of the same table.
    kerf_steps = terms.kerf_m / terms.step_m
    shared = abs(kerf_steps - round(kerf_steps)) < 1e-9
    shift = round(kerf_steps) if shared else 0
    offsets = stations.wood.offsets
    at_passes = chord_table(offsets, wood, rows + shift, 0.0, stations.wood.slots)
    tables = {0: at_passes}
    if not shared:
        for way in (1, -1) if terms.can_flip else (1,):
            tables[way] = chord_table(offsets, wood, rows, way * kerf_steps, stations.wood.slots)
    measured = {way: _measured(table, stations, tilt, terms) for way, table in tables.items()}
    near = _near(list(measured.values()), terms) if terms.counting.face in (WIDE, MEAN_FACE) else None
    most = max(table.most for table in tables.values())
    made = {way: _faces(table, measured[way], near, most, terms) for way, table in tables.items()}

    def faces(way: int) -> Faces:
        return _shifted(made[0], way * shift, rows) if shared else made[way]

    if reach_m is None and stations.outer is stations.wood:
        reach_m = reach_of_chords(at_passes, rows)
    elif reach_m is None:
        reach_m = reach_by_row(_turned(stations, lay, terms, outer=True), rows)
    area, length = measured[0].area_m2[:rows], measured[0].length_m[:rows]
    cost = terms.pass_cost + sawing_cost(terms, length, area) / cos(tilt)
    heights = (lowest + np.arange(rows)) * terms.step_m
    possible = (reach_m > 0.0) & (reach_m <= terms.widest_reach_m)
    possible_flipped = possible.copy()
    # After a flip the log lies on a face that a pass has opened: the blade never stands higher than at that pass.
    possible &= heights <= terms.highest_blade_m + HEIGHT_HAIR_M
    for barred_m in forbidden_m:
        possible_flipped &= ~cut_meets((heights - terms.kerf_m, heights), barred_m)
        possible &= ~cut_meets((heights, heights + terms.kerf_m), barred_m)
    may_be_first = height_m - heights <= terms.throat_depth_m
    may_be_first_flipped = heights <= terms.throat_depth_m
    if terms.all_depths:
        possible &= may_be_first
        possible_flipped &= may_be_first_flipped
    upper = faces(0)
    return LayTable(
        lowest_row=lowest,
        possible=possible,
        may_be_first=may_be_first,
        possible_flipped=possible_flipped,
        may_be_first_flipped=may_be_first_flipped,
        pass_cost=cost,
        first=stations.first,
        last=stations.last,
        cell_m=float(stations.cell_m[stations.first]) / cos(tilt),
        upper=upper,
        lower=faces(1),
        under=faces(-1) if terms.can_flip else upper,
        inside=turned_inside(stations, lay, heart, terms.step_m if shared else 0.0),
    )


def _turned(stations: Stations, lay: Lay, terms: Terms, *, outer: bool) -> FloatArray:
    rings = stations.outer if outer else stations.wood
    return turn_rings(
        rings.offsets,
        rings.segments,
        stations.x_m,
        radians(lay.roll_deg),
        radians(lay.tilt_deg),
        lay.lift_m,
        lowest_row(terms) * terms.step_m,
        terms.step_m,
    )


class _Measured(NamedTuple):
    """What every row of a table holds: see chords.wood_by_row; usable wood along the bed. [m, m2]."""

    area_m2: FloatArray
    length_m: FloatArray
    usable_m2: FloatArray
    usable_worth_m2: FloatArray
    widest_m: FloatArray
    several: BoolArray


def _measured(chords: Chords, stations: Stations, tilt: float, terms: Terms) -> _Measured:
    counting = terms.counting
    # No width keeps more than this, nor is a green one sold that would not be as wide if it did. Where the two faces
    # are not both as wide as the slab, any width may be part of one.
    kept = 1.0 - min(counting.shrinks_radial, counting.shrinks_tangential)
    least_m = 0.0 if counting.face in (WIDE, MEAN_FACE) else terms.min_width_m / kept
    area, length, usable, worth, widest = wood_by_row(
        chords,
        stations.cell_m,
        stations.first,
        stations.last,
        least_m,
        terms.min_length_m * cos(tilt),  # a run's length is along the bed, a little more than along the log
        terms.worth_step_m / kept,
        terms.worth_m,
        counting.width in (MIDDLE, THREE),
    )
    several = ~_simple_rows(chords, stations.first, stations.last)
    return _Measured(area, length, usable / cos(tilt), worth / cos(tilt), widest * kept, several)


class _Near(NamedTuple):
    """The most that any row holds that may be the other face of a layer, for each row; see _Measured."""

    usable_m2: FloatArray
    usable_worth_m2: FloatArray
    widest_m: FloatArray


def _near(measured: Sequence[_Measured], terms: Terms) -> _Near:
    """Return what rows hold that may be the other faces of layers."""
    steps = int(max(terms.drop_steps.max(), terms.bed_steps.max())) + ceil(terms.kerf_m / terms.step_m) + 1
    rows = max(len(one.area_m2) for one in measured)

    def most(values: list[FloatArray]) -> FloatArray:
        padded = [np.pad(one, (0, rows - len(one))) for one in values]
        found: FloatArray = maximum_filter1d(np.max(padded, axis=0), 2 * steps + 1, mode="constant")
        return found

    return _Near(
        most([one.usable_m2 for one in measured]),
        most([one.usable_worth_m2 for one in measured]),
        most([one.widest_m for one in measured]),
    )


def _faces(chords: Chords, measured: _Measured, near: _Near | None, most: int, terms: Terms) -> Faces:
    """Return the faces at every row of a table.

    near : of the rows beside, where a slab counts by both its faces. most : crossings of any face of the lay.
    """
    rows, counting = len(measured.area_m2), terms.counting
    usable, worth, widest = measured.usable_m2, measured.usable_worth_m2, measured.widest_m
    if near is not None:
        # A slab's width is the mean of its faces', or no more than their sum, and no more than the wider one's.
        share = 0.5 if counting.face == MEAN_FACE else 1.0
        usable = share * (usable + near.usable_m2[:rows])
        worth = share * (worth + near.usable_worth_m2[:rows])
        widest = np.maximum(widest, near.widest_m[:rows])
    best_factor = best_factor_up_to(terms, np.minimum(widest, terms.max_width_m))
    if len(counting.row_entry):
        best_factor = np.maximum(best_factor, 1.0)  # what is paid by the slab has none
    if counting.width in (MIDDLE, THREE):
        # Each piece side by side with others, and each side of a ripped one, may be as wide as the whole elsewhere.
        pieces = np.full(rows, float(max(1, most - 1)))
        pieces *= 2.0 if counting.slab_with_heart > 0.0 else 1.0
        usable, worth = usable * pieces, worth * pieces
    return Faces(
        chords=chords,
        shift=0,
        simple=~measured.several,
        usable_m2=usable,
        usable_worth_m2=worth,
        best_factor=best_factor,
    )


def _shifted(faces: Faces, shift: int, rows: int) -> Faces:
    """Return the faces so many rows above those of a table; nothing where these are beyond it."""
    below, count = max(0, -shift), len(faces.simple)

    def moved(values: FloatArray) -> FloatArray:
        there = values[max(0, shift) : min(count, rows + shift)]
        if below == 0 and len(there) == rows:
            return there
        found = np.zeros(rows)
        found[below : below + len(there)] = there
        return found

    return faces._replace(
        shift=shift,
        usable_m2=moved(faces.usable_m2),
        usable_worth_m2=moved(faces.usable_worth_m2),
        best_factor=moved(faces.best_factor),
    )


def best_factor_up_to(terms: Terms, width_m: FloatArray) -> FloatArray:
    """Return the greatest width factor that any mean width up to these can have."""
    at, factor = terms.width_at_m, terms.width_factor
    before = np.concatenate([factor[:1], np.maximum.accumulate(factor)])
    best: FloatArray = np.maximum(np.interp(width_m, at, factor), before[np.searchsorted(at, width_m, side="right")])
    return best


@numba.njit(cache=True, nogil=True)
def _simple_rows(table: Chords, first: int, last: int) -> BoolArray:
    rows = len(table.counts)
    simple = np.ones(rows, dtype=np.bool_)
    if table.most > 2:
        for r in range(rows):
            for i in range(first, last):
                if table.counts[r, i] > 2:
                    simple[r] = False
                    break
    return simple


def turned_inside(stations: Stations, lay: Lay, heart: HeartStrip, step_m: float = 0.0) -> Inside:
    """Return what lies inside the wood at the stations, turned as the log lies.

    step_m : where most faces lie at multiples of it, what shows of feathers is found for all of these at once; 0: not.
    """
    roll, tilt = radians(lay.roll_deg), radians(lay.tilt_deg)
    at = np.arange(len(stations.x_m))
    rise_m = stations.x_m * sin(tilt) + lay.lift_m
    hearts, heart_counts = np.zeros((0, 6, len(at))), np.zeros(len(at), dtype=np.int64)
    if heart.share > 0.0 or heart.slab_share > 0.0:
        hearts = heart_sections(stations.hearts, stations.heart_offsets, roll, heart.radius_m)
        heart_counts = np.diff(stations.heart_offsets)
    low_m, high_m = heights_of_hearts(hearts, rise_m, cos(tilt))
    rings, zone_counts = stations.rings, np.diff(stations.zone_offsets)
    if len(rings):
        turn = np.array([[cos(roll), sin(roll)], [-sin(roll), cos(roll)]])
        rings = np.ascontiguousarray(rings @ turn)
        owner = np.repeat(np.repeat(at, zone_counts), np.diff(stations.ring_offsets))
        heights_m = rise_m[owner] + rings[:, 1] * cos(tilt)
        low_m, high_m = min(low_m, float(heights_m.min())), max(high_m, float(heights_m.max()))
    normal = lay.log_to_bed[2, :3]  # of every slab, in the log frame
    feather = [0.0 if zone.normal is None else alignment(normal, zone.normal) for zone in stations.zones]
    figured = np.array([zone.feather for zone in stations.zones], dtype=np.bool_)[stations.zone_of]
    zone_feather = np.array(feather)[stations.zone_of]
    station_of = np.repeat(at, zone_counts)
    marks, shown = (np.bincount(station_of[which], minlength=len(at)) for which in (~figured, zone_feather > 0.0))
    found = Inside(
        hearts=hearts,
        heart_counts=heart_counts,
        heart_spans=_spans(heart_counts, len(hearts)),
        zone_offsets=stations.zone_offsets,
        ring_offsets=stations.ring_offsets,
        rings=rings,
        zone_share=np.array([zone.share for zone in stations.zones])[stations.zone_of],
        zone_feather=zone_feather,
        zone_figured=figured,
        zone_hides=np.array([zone.hides_figure for zone in stations.zones], dtype=np.bool_)[stations.zone_of],
        heart_share=heart.share,
        rise_m=rise_m,
        cos_tilt=cos(tilt),
        low_m=low_m,
        high_m=high_m,
        heart_m=float(lay.to_bed(stations.heart_m)[2]),
        heart_radius_m=heart.radius_m,
        most=len(hearts) + int(marks.max(initial=0)),
        most_figured=int(shown.max(initial=0)),
        best_feather=max(feather, default=0.0),
    )
    if step_m == 0.0 or found.most_figured == 0:
        return found
    rows = shown_at_rows(
        found.zone_offsets, found.ring_offsets, found.rings, zone_feather, rise_m, found.cos_tilt, found.most_figured,
        step_m,
    )  # fmt: skip
    return found._replace(shown=rows[0], shown_zero_m=rows[1], shown_m=rows[2], shown_step_m=step_m)


def _spans(counts: IntArray, most: int) -> IntArray:
    """Return (most, 2): from the first station to beyond the last where counts are over 0, over 1 and so on."""
    spans = np.zeros((most, 2), dtype=np.int64)
    for c in range(most):
        there = np.flatnonzero(counts > c)
        spans[c] = there[0], there[-1] + 1
    return spans


def lowest_row(terms: Terms) -> int:
    """Return the lowest pass that the mill can make, in height steps."""
    return max(1, ceil(terms.lowest_blade_m / terms.step_m - 1e-9))


def row_count(height_m: float, terms: Terms) -> int:
    """Return how many rows reach the top of a log that stands so high."""
    return max(0, int(height_m / terms.step_m) + 1 - lowest_row(terms) + 1)
