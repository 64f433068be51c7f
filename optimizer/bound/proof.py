"""A proven upper bound on the net of every lay: branch and bound over boxes of rolls and tilts.

The widest-bound box is split first, so that the bound comes down where it stands. Everything is counted and nothing
timed, so that the bound is the same whatever the number of workers, unless it is told to stop.

Each short cell of the log is covered by convex hulls of all the mesh in it, so that nothing between stations is missed.
A range of rolls widens each part by R times its half; a range of tilts is a range of heights at each station. A layer
brings no more than the narrower of its two faces in every cell, and no pass is made where at all lays of the box the
blade would reach farther than the throat. What can only cost (heart, marks, metal) is left out, and pieces side by side
count as one, which makes it loose on forks. Where the steps begin is free, so one box bounds the log flipped, too.
"""

import heapq
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import cached_property
from math import ceil, cos, floor, inf, isfinite, radians, sin, tan

import numpy as np
from scipy.spatial import ConvexHull

from optimizer.bed.zones import FLATTEST_FIGURE_DEG, Zone
from optimizer.bound.box import FACTOR_UNITS, Rates, faces_of, most_of_box
from optimizer.bound.parts import Parts, parts_of
from optimizer.bound.reach import Sections, Sides, barred_rows, sections_of, sides_at
from optimizer.bound.tilts import tilts_that_reach
from optimizer.bound.widths import Widths, doubled, widths_at
from optimizer.problem import Problem
from optimizer.search.lays import Progress, Stop, StoppedBy, never_stop
from optimizer.stations.lay_table import BoolArray, best_factor_up_to
from optimizer.stations.terms import Terms, terms_for
from scans.log import FloatArray, IntArray

CELL_M = 0.025
ROW_M = 0.0015
TABLE_ROW_M = 0.003
REACH_SPACING_M = 0.15
"""How far apart the stations are at which the reach is looked at."""
FINEST_DEG = 0.5
"""Rolls are looked at in ranges of this and what doubling makes of it; of half or less only where boxes get there."""
COARSEST_LEVEL, FINEST_LEVEL = 3, -2
WHOLE_LEVEL_OF_MANY = 2
HALF_TURN_DEG = 180.0
BATCH = 8
WORK = 6e7
"""Cells times rows that the bound of a plan may look at, unless a gap is asked for."""
WORK_FOR_GAP = 40.0 * WORK
ROUNDING = 1e-6


@dataclass(frozen=True)
class Proven:
    """What is proven of a search.

    upper_net : no lay is worth more. boxes : how many were looked at. reason : what ended it; "lays" where its work was
    used up.
    """

    upper_net: float
    boxes: int
    reason: StoppedBy

    def gap(self, best_net: float) -> float:
        """Return how far the best is under the bound, as a share of the bound."""
        return gap_of(self.upper_net, best_net)


def gap_of(upper_net: float, best_net: float) -> float:
    """Return how far the best is under the bound, as a share of the bound; 0 at least."""
    return max(0.0, (upper_net - best_net) / upper_net) if upper_net > 0.0 else 0.0


@dataclass(frozen=True)
class Box:
    """Rolls `index` x width to a width further, in the half turn, width FINEST_DEG x 2**level; and tilts. Degrees.

    A lay upside down (roll + 180, - tilt) has the same layers, and belongs to the same box.
    """

    place: int
    level: int
    index: int
    tilt_deg: tuple[float, float]

    @property
    def width_deg(self) -> float:
        """How many degrees of roll it holds."""
        return float(FINEST_DEG * 2.0**self.level)

    @property
    def roll_deg(self) -> float:
        """Its middle roll."""
        return (self.index + 0.5) * self.width_deg


@dataclass(eq=False)
class Bounder:
    """What bounds the boxes of one problem.

    place : which problem it is, of those bounded together. whole_level : ranges of rolls up to this level are looked at
    as one, wider ones as what they are made of: a lower level takes more time and memory, and bounds more closely.
    """

    problem: Problem
    place: int = 0
    whole_level: int = 0
    _tables: dict[tuple[int, int], Widths] = field(default_factory=dict)
    _sides: dict[tuple[int, int], Sides] = field(default_factory=dict)

    @cached_property
    def terms(self) -> Terms:
        """The terms without margins: plans are priced without."""
        return terms_for(self.problem.mill, self.problem.prices, self.problem.menu, margins=False)

    @cached_property
    def line_m(self) -> tuple[float, float]:
        """The middle of the log, (y, z), that rolls are looked at around."""
        points = self.problem.supports.whole[:, 1:]
        low, high = points.min(axis=0), points.max(axis=0)
        return float(0.5 * (low[0] + high[0])), float(0.5 * (low[1] + high[1]))

    @cached_property
    def outer_off_m(self) -> float:
        """How far the outer surface reaches from that line."""
        points = self.problem.supports.whole[:, 1:] - np.array(self.line_m)
        return float(np.hypot(points[:, 0], points[:, 1]).max())

    @cached_property
    def tilts_deg(self) -> list[tuple[float, float] | None]:
        """For each degree of the half turn, tilts that hold all that posts and shims allow at its rolls. [deg]."""
        width_deg = FINEST_DEG * 2
        return [self._tilts_at((k + 0.5) * width_deg, 0.5 * width_deg) for k in range(int(HALF_TURN_DEG / width_deg))]

    def _tilts_at(self, roll_deg: float, half_deg: float) -> tuple[float, float] | None:
        # Within half a range of rolls no point rises or sinks more than this, and a gap is between two of them.
        moved_m = 2.0 * self.outer_off_m * radians(half_deg) + ROUNDING
        highest_m = self.problem.supports.rules.highest_m
        posts_m = self.problem.mill.between_posts_m
        found: list[tuple[float, float]] = []
        for turn_deg in (0.0, HALF_TURN_DEG):
            rolled = self.problem.supports.turned(roll_deg + turn_deg)
            if posts_m is not None and rolled.width_m - moved_m > posts_m:
                continue
            limits = tilts_that_reach(rolled.outline_m, highest_m, moved_m)
            if limits is not None:
                found.append(limits if turn_deg == 0.0 else (-limits[1], -limits[0]))
        if not found:
            return None
        return min(low for low, _ in found) - ROUNDING, max(high for _, high in found) + ROUNDING

    @cached_property
    def steepest(self) -> float:
        """The greatest tilt of any lay, either way. [rad]."""
        return radians(max((max(abs(t[0]), abs(t[1])) for t in self.tilts_deg if t is not None), default=0.0))

    @cached_property
    def parts(self) -> Parts:
        """The wood in convex parts. The faces of one layer are shifted along the log against each other by its tilt."""
        log = self.problem.log
        trim_m = self.problem.end_trim_m
        from_m, to_m = float(log.outer.bounds_m[0, 0]) + trim_m[0], float(log.outer.bounds_m[1, 0]) - trim_m[1]
        beyond_m = 0.5 * float(self.thick_m.max(initial=0.0)) * sin(self.steepest) + ROUNDING
        return parts_of(log.wood, from_m, to_m, CELL_M, beyond_m)

    @cached_property
    def thick_m(self) -> FloatArray:
        """Thickness of each entry: the menu's, then those on the bunks after a flip where they differ. [m]."""
        return self._entries[0]

    @cached_property
    def _entries(self) -> tuple[FloatArray, FloatArray, FloatArray, IntArray]:
        """Thickness, from pass to pass, what it costs beside, and which of the menu it is."""
        t = self.terms
        rows = [(d * t.step_m - t.kerf_m, d * t.step_m, 0.0, m) for m, d in enumerate(t.drop_steps)]
        if t.can_flip:
            for m, steps in enumerate(t.bed_steps):
                thick_m = steps * t.step_m
                if abs(thick_m - rows[m][0]) > 1e-9:
                    rows.append((thick_m, thick_m + t.kerf_m, t.flip_cost, m))
        return (
            np.array([row[0] for row in rows]),
            np.array([row[1] for row in rows]),
            np.array([row[2] for row in rows]),
            np.array([row[3] for row in rows], dtype=np.int64),
        )

    @cached_property
    def row_m(self) -> float:
        """How high a row of planes is: a whole number of the mill's height steps."""
        step_m = self.terms.step_m
        return max(1, round(ROW_M / step_m)) * step_m

    @cached_property
    def table_row_m(self) -> float:
        """How high a row of the width tables is."""
        return max(1, round(TABLE_ROW_M / self.row_m)) * self.row_m

    @cached_property
    def zero_m(self) -> float:
        """Where the width tables begin: below all wood, at any roll."""
        off_m = float(self.parts.off_m.max())
        return -(off_m * (1.0 + radians(FINEST_DEG)) + 4.0 * self.table_row_m)

    @cached_property
    def table_rows(self) -> int:
        """How many rows the width tables have."""
        return ceil(-2.0 * self.zero_m / self.table_row_m)

    @cached_property
    def unit_m(self) -> float:
        """What widths are counted in."""
        return 2.5 * float(self.parts.off_m.max()) / 65000.0

    @cached_property
    def planes_from_m(self) -> float:
        """The lowest plane that can meet wood, from the middle of the log."""
        half_m = 0.5 * self.parts.cell_m * len(self.parts.low_m) + CELL_M
        return -(float(self.parts.off_m.max()) + half_m * sin(self.steepest) + self.row_m)

    @cached_property
    def rows(self) -> int:
        """How many rows of planes there are."""
        return ceil(-2.0 * self.planes_from_m / self.row_m)

    @cached_property
    def work(self) -> float:
        """What one box takes: cells times rows."""
        return float(len(self.parts.low_m) * self.rows)

    @cached_property
    def rates(self) -> Rates:
        """What layers bring."""
        t, unit_m, cell_m = self.terms, self.unit_m, self.parts.cell_m
        thick, pitch, once, of = self._entries
        feet = t.board_feet_per_m2[of]
        # Every slab may be one of a pair.
        paired = 1.0 + self.problem.prices.pairs.premium
        units = np.arange(1, 65536 // FACTOR_UNITS + 2) * FACTOR_UNITS
        return Rates(
            thick_rows=thick / self.row_m,
            pitch_rows=pitch / self.row_m,
            price=paired * t.price[of] * feet,
            drying=t.drying_per_board_foot[of] * feet,
            sawing=np.full(len(of), t.cost_per_m2 + t.blade_cost_per_m2),
            feather=paired * t.feather_per_board_foot[of] * feet,
            once=once,
            slab_cost=t.slab_cost,
            pass_cost=t.pass_cost,
            factor=best_factor_up_to(t, np.minimum(units * unit_m, t.max_width_m)),
            worth=_worth_of(t, np.minimum(units * unit_m, t.max_width_m)) / unit_m,
            min_units=floor(t.min_width_m / unit_m),
            max_units=ceil(t.max_width_m / unit_m) if isfinite(t.max_width_m) else 65535,
            run_cells=max(1, ceil(t.min_length_m * cos(self.steepest) / cell_m - ROUNDING)),
            cell_m2=unit_m * cell_m,
        )

    @cached_property
    def feathers(self) -> list[tuple[Zone, FloatArray]]:
        """Figured wood, with the faces of each: their areas times their normals, (F, 3). [m2]."""
        found = []
        for zone in self.problem.zones:
            if zone.normal is not None:
                hull = ConvexHull(zone.corners_m)
                a, b, c = (zone.corners_m[hull.simplices[:, k]] for k in range(3))
                found.append((zone, 0.5 * np.cross(b - a, c - a)))
        return found

    def table(self, level: int, index: int) -> Widths:
        """Return the greatest widths over a range of rolls."""
        found = self._tables.get((level, index))
        if found is None:
            if level > self.whole_level:
                found = np.maximum(self.table(level - 1, 2 * index), self.table(level - 1, 2 * index + 1))
            else:
                box = Box(self.place, level, index, (0.0, 0.0))
                p = self.parts
                found = widths_at(
                    p.first, p.offsets, p.points, p.off_m, radians(box.roll_deg), radians(0.5 * box.width_deg),
                    self.zero_m, self.table_row_m, self.table_rows, self.unit_m,
                )  # fmt: skip
            self._tables[level, index] = found
        return found

    @cached_property
    def sections(self) -> Sections | None:
        """Where the outer surface is cut across to bound the reach; None where no pass is too wide for the throat."""
        points = self.problem.supports.whole[:, 1:] - np.array(self.parts.centre_m)
        off_m = float(np.hypot(points[:, 0], points[:, 1]).max())
        if 2.0 * off_m <= self.terms.widest_reach_m:
            return None
        from_m, to_m = (float(x) for x in self.problem.log.outer.bounds_m[:, 0])
        count = max(2, round((to_m - from_m) / REACH_SPACING_M))
        x_m = from_m + (to_m - from_m) * (np.arange(count) + 0.5) / count
        return sections_of(self.problem.bodies.outer, x_m.tolist(), self.parts.centre_m, off_m)

    def sides(self, sections: Sections, level: int, index: int) -> Sides:
        """Return how far the surface surely comes to either side over a range of rolls."""
        found = self._sides.get((level, index))
        if found is None:
            if level > self.whole_level:
                halves = [self.sides(sections, level - 1, 2 * index + k) for k in (0, 1)]
                found = np.maximum(halves[0], halves[1])
            else:
                box = Box(self.place, level, index, (0.0, 0.0))
                off_m = sections.off_m
                found = sides_at(
                    sections.first, sections.offsets, sections.points, off_m, radians(box.roll_deg),
                    radians(0.5 * box.width_deg), -off_m, self.table_row_m, ceil(2.0 * off_m / self.table_row_m),
                    sections.unit_m,
                )  # fmt: skip
            self._sides[level, index] = found
        return found

    def barred(self, box: Box, levels_m: FloatArray) -> BoolArray:
        """Return which rows of planes no pass of any lay of a box can be made in, for the throat.

        levels_m : (K, 2) of each row, least and greatest height over the cosine of the tilt. [m]
        """
        sections = self.sections
        if sections is None:
            return np.zeros(len(levels_m), dtype=np.bool_)
        low, high = np.radians(box.tilt_deg)
        shifts = -np.outer(sections.x_m - self.parts.middle_m, [tan(low), tan(high)])
        shift = np.stack([shifts.min(axis=1), shifts.max(axis=1)], axis=1)
        table = self.sides(sections, box.level, box.index)
        widest = float((shift[:, 1] - shift[:, 0]).max() + (levels_m[:, 1] - levels_m[:, 0]).max())
        levels = min(int(np.log2(widest / self.table_row_m + 2.0)) + 1, int(np.log2(len(table))) + 1)
        off_m = sections.off_m
        there = barred_rows(
            doubled(table, levels), -off_m, self.table_row_m, levels_m, shift, off_m, sections.unit_m,
            self.terms.widest_reach_m + ROUNDING,
        )  # fmt: skip
        # A pass reaches what its kerf's lower face does, or in a log upside down what its upper face does.
        kerf_rows = self.terms.kerf_m / self.row_m
        found: BoolArray = there.copy()
        for by in (floor(kerf_rows), ceil(kerf_rows)):
            found[: len(there) - by] &= there[by:]
            found[len(there) - by :] = False
        return found

    def roots(self) -> list[Box]:
        """Return boxes that hold every lay."""
        count = int(HALF_TURN_DEG / (FINEST_DEG * 2**COARSEST_LEVEL))
        boxes = [Box(self.place, COARSEST_LEVEL, k, (-90.0, 90.0)) for k in range(count)]
        return [box for whole in boxes if (box := self.held(whole)) is not None]

    def held(self, box: Box) -> Box | None:
        """Return what shims and posts leave of a box; None where that is nothing."""
        first = floor(box.index * box.width_deg / (2.0 * FINEST_DEG) + 1e-9)
        last = ceil((box.index + 1) * box.width_deg / (2.0 * FINEST_DEG) - 1e-9)
        limits = [t for t in self.tilts_deg[first:last] if t is not None]
        if not limits:
            return None
        low = max(box.tilt_deg[0], min(t[0] for t in limits))
        high = min(box.tilt_deg[1], max(t[1] for t in limits))
        return Box(box.place, box.level, box.index, (low, high)) if low <= high else None

    def split(self, box: Box) -> list[Box]:
        """Return two halves that hold the same lays: of the rolls, or of the tilts where these move the wood more."""
        low, high = box.tilt_deg
        half_m = 0.5 * self.parts.cell_m * len(self.parts.low_m)
        tilting_m = half_m * radians(high - low)
        rolling_m = float(self.parts.off_m.max()) * radians(box.width_deg)
        if box.level > FINEST_LEVEL and rolling_m >= tilting_m:
            halves = [Box(box.place, box.level - 1, 2 * box.index + k, box.tilt_deg) for k in (0, 1)]
        else:
            middle = 0.5 * (low + high)
            halves = [Box(box.place, box.level, box.index, t) for t in ((low, middle), (middle, high))]
        return [part for half in halves if (part := self.held(half)) is not None]

    def most(self, box: Box) -> float:
        """Return an upper bound on the net of every lay of a box."""
        t = np.radians(np.array(box.tilt_deg))
        scale = 1.0 / np.cos(t)
        least, most = (1.0 if t[0] <= 0.0 <= t[1] else float(scale.min())), float(scale.max())
        c = self.planes_from_m + self.row_m * np.arange(self.rows + 1)
        low = np.minimum(c[:-1] * least, c[:-1] * most)
        high = np.maximum(c[1:] * least, c[1:] * most)
        from_middle = np.stack([self.parts.low_m, self.parts.high_m], axis=1) - self.parts.middle_m
        shifts = -np.concatenate([from_middle * tan(t[0]), from_middle * tan(t[1])], axis=1)
        shift = np.stack([shifts.min(axis=1), shifts.max(axis=1)], axis=1)
        widest = float((shift[:, 1] - shift[:, 0]).max() + (high - low).max())
        levels = int(np.log2(widest / self.table_row_m + 2.0)) + 1
        table = self.table(box.level, box.index)
        deep = doubled(table, min(levels, int(np.log2(self.table_rows)) + 1))
        levels_m = np.stack([low, high], axis=1)
        faces = faces_of(deep, self.zero_m, self.table_row_m, levels_m, shift)
        # A plane's area is a little more than it looks along the log.
        rates = self.rates._replace(cell_m2=self.rates.cell_m2 * most)
        within = self._zones(box), self._allowed(box), self.barred(box, levels_m)
        found = most_of_box(faces, rates, self.planes_from_m, self.row_m, *within)
        return float(found) * (1.0 + ROUNDING)

    def _moved(self, points_m: FloatArray, box: Box) -> tuple[FloatArray, FloatArray]:
        """Return how high points stand above the middle of the log at the box's middle lay, and how far off at most."""
        low, high = np.radians(box.tilt_deg)
        tilt, roll = 0.5 * (low + high), radians(box.roll_deg)
        x = points_m[:, 0] - self.parts.middle_m
        y, z = points_m[:, 1] - self.parts.centre_m[0], points_m[:, 2] - self.parts.centre_m[1]
        off = np.hypot(y, z)
        moved = (np.abs(x) + off * sin(self.steepest)) * 0.5 * (high - low) + off * radians(0.5 * box.width_deg)
        return x * sin(tilt) + (y * sin(roll) + z * cos(roll)) * cos(tilt), moved + ROUNDING

    def _zones(self, box: Box) -> FloatArray:
        found = []
        turned = 0.5 * radians(box.tilt_deg[1] - box.tilt_deg[0]) + radians(0.5 * box.width_deg)
        tilt, roll = radians(0.5 * sum(box.tilt_deg)), radians(box.roll_deg)
        up = np.array([sin(tilt), cos(tilt) * sin(roll), cos(tilt) * cos(roll)])
        flattest = cos(radians(FLATTEST_FIGURE_DEG))
        for zone, sides in self.feathers:
            if zone.normal is None:
                continue
            height, moved = self._moved(zone.corners_m, box)
            size = np.linalg.norm(sides, axis=1)
            area_m2 = 0.5 * float(np.minimum(np.abs(sides @ up) + size * turned, size).sum())
            angle = max(0.0, float(np.arccos(min(1.0, abs(float(up @ zone.normal))))) - turned)
            shows = max(0.0, (cos(angle) - flattest) / (1.0 - flattest))
            if shows > 0.0:
                found.append((float((height - moved).min()), float((height + moved).max()), area_m2, shows))
        return np.array(found).reshape(-1, 4)

    def _allowed(self, box: Box) -> IntArray:
        """Return the rows that passes can be in: near the top where slabs stay on, or, upside down, near the bottom."""
        depth_m = self.terms.throat_depth_m
        if not self.terms.all_depths or not isfinite(depth_m) or self.terms.can_flip:
            return np.array([[0, self.rows - 1]])
        height, moved = self._moved(self.problem.supports.whole, box)
        top_m, bottom_m = float((height - moved).max()), float((height + moved).min())
        from_row = floor((top_m - depth_m - self.planes_from_m) / self.row_m) - 1
        to_row = ceil((bottom_m + depth_m - self.planes_from_m) / self.row_m) + 1
        return np.array([[from_row, self.rows - 1], [0, to_row]])


def _worth_of(terms: Terms, width_m: FloatArray) -> FloatArray:
    """Return a convex bound on width times width factor, of any width up to these. [m]."""
    at_m = terms.worth_step_m * np.arange(len(terms.worth_m))
    slope = (terms.worth_m[-1] - terms.worth_m[-2]) / terms.worth_step_m
    beyond_m = np.maximum(0.0, width_m - at_m[-1])
    found: FloatArray = np.interp(width_m, at_m, terms.worth_m) + slope * beyond_m
    return found


def prove(
    problems: Sequence[Problem],
    best_net: float,
    *,
    gap: float | None = None,
    work: float | None = None,
    workers: int = 2,
    stop: Stop = never_stop,
    on_progress: Callable[[Progress], None] | None = None,
) -> Proven:
    """Bound the net of every lay of every problem (the stretches of one log), as low as the work allows.

    best_net : the best that was found, which no bound can be under. gap : go on until the best is proven to be so near
    the bound, as a share of it. work : how much to look at, cells times rows; by default WORK, or more for a gap.
    stop : asked before each batch of boxes.
    """
    target = best_net if gap is None else best_net / (1.0 - gap)
    most_work = work if work is not None else WORK if gap is None else WORK_FOR_GAP
    whole_level = 0 if len(problems) == 1 else WHOLE_LEVEL_OF_MANY
    bounders = [Bounder(problem, place, whole_level) for place, problem in enumerate(problems)]
    reason: StoppedBy = "lays"
    with ThreadPoolExecutor(max_workers=max(1, workers)) as pool:
        list(pool.map(lambda b: b.rates, bounders))
        boxes = [(box, inf) for bounder in bounders for box in bounder.roots()]
        heap: list[tuple[float, int, Box]] = []
        spent, count = 0.0, 0
        while boxes:
            found = pool.map(lambda one: bounders[one[0].place].most(one[0]), boxes)
            for (box, of_whole), most in zip(boxes, found, strict=True):
                spent += bounders[box.place].work
                # A half is never worth more than the whole.
                heapq.heappush(heap, (-min(most, of_whole), count, box))
                count += 1
            upper = max(best_net, -heap[0][0])
            if on_progress is not None:
                share = int(100 * min(1.0, spent / most_work))
                on_progress(Progress("checking what more is possible", share, 100, best_net, gap_of(upper, best_net)))
            if upper <= target:
                reason = "gap" if gap is not None else reason
                break
            asked = stop()
            if asked is not None:
                reason = asked
                break
            if spent >= most_work:
                break
            taken = [heapq.heappop(heap) for _ in range(min(BATCH, len(heap)))]
            boxes = [(half, -most) for most, _, box in taken for half in bounders[box.place].split(box)]
        upper = max(best_net, -heap[0][0]) if heap else best_net
    return Proven(upper, count, reason)
