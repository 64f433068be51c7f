"""A plan priced on the mesh itself: the one place where money is worked out, whoever asks.

No stations and no margins: the faces are exact sections of the solids.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from shapely import Polygon, box, union_all
from shapely.geometry.base import BaseGeometry

from optimizer.bed.bodies import HAIR_M, BedBodies, LogBodies, flip_matrix, flipped_bodies, polygons_of
from optimizer.bed.bolts import BoltWorth
from optimizer.bed.buck_cuts import BuckCut
from optimizer.bed.hearts import heart_strip_in_plan
from optimizer.bed.lay import Lay
from optimizer.bed.outlines import WidthProfile, crosscut, width_profile
from optimizer.bed.pairs import best_pairs
from optimizer.bed.sawn_layers import Layer, layers_between
from optimizer.bed.zones import Zone, alignment, in_plan
from optimizer.documents.mill import Mill
from optimizer.documents.prices import MenuEntry, PriceBook
from optimizer.wood.board_feet import board_feet
from scans.log import FloatArray, moved


@dataclass(frozen=True, eq=False)
class PricedPass:
    """One pass: its height in steps and metres, and what it asks of the mill. [m, m2]."""

    row: int
    flipped: bool
    blade_height_m: float
    reach_m: float
    cut_length_m: float
    cut_area_m2: float
    minutes: float


@dataclass(frozen=True, eq=False)
class PricedSlab:
    """One slab sold; bed frame. Lengths in metres, money in the book's currency.

    piece : the whole piece of the outline; number : which piece of its layer, from 1 at the left, of
    those that are sold. heart, marked : heart strip and marked flaws within the span, seen in plan.
    figured_upper, figured_lower : the feather that each face shows within the span, but for bark pockets.
    drying_cost : of drying it, of what is lost in drying, and of waiting for the money.
    """

    layer: int
    number: int
    flipped: bool
    entry: MenuEntry
    upper_face_m: float
    lower_face_m: float
    piece: Polygon
    span_m: tuple[float, float]
    area_m2: float
    uncapped_m2: float
    min_width_m: float
    max_width_m: float
    heart: BaseGeometry
    marked: BaseGeometry
    figured_upper: BaseGeometry
    figured_lower: BaseGeometry
    board_feet: float
    price: float
    drying_cost: float

    @property
    def quarters(self) -> int:
        """What it is sold as."""
        return self.entry.quarters

    @property
    def green_m(self) -> float:
        """Thickness as sawn. [m]."""
        return self.upper_face_m - self.lower_face_m

    @property
    def figured_m2(self) -> float:
        """Figured area: the mean of what the two faces show. [m2]."""
        return 0.5 * float(self.figured_upper.area + self.figured_lower.area)

    @property
    def length_m(self) -> float:
        """Length of the span. [m]."""
        return self.span_m[1] - self.span_m[0]

    @property
    def mean_width_m(self) -> float:
        """Area over length. [m]."""
        return self.area_m2 / self.length_m


@dataclass(frozen=True, eq=False)
class Priced:
    """Passes and slabs of one lay, with the money.

    entries : what each layer is meant for, in sawing order; None for waste.
    flip_face_m : the height of the last sawn face, that the log lies on after the flip; None without.
    bed_entry : what the piece on the bunks is meant for after a flip, the last layer; None for an offcut.
    stretch_m : what lies on the bed, in log x. gaps_m : the lowest gap over the bunks of the butt and the top third.
    placed : how many shims and props it takes; set_up_cost : what setting the log costs, part of the sawing cost.
    is_checked : whether both are known from the solid itself. buck_cuts : how the log was bucked before; bolts : what
    was cut off, and what it brings. pairs : slabs sold as pairs, as places in `slabs`; pairs_premium : what these bring
    on top, when they are sold: what is lost of it until then is part of the drying cost.
    """

    lay: Lay
    passes: tuple[PricedPass, ...]
    entries: tuple[MenuEntry | None, ...]
    flip_face_m: float | None
    bed_entry: MenuEntry | None
    slabs: tuple[PricedSlab, ...]
    gross: float
    sawing_cost: float
    drying_cost: float
    stretch_m: tuple[float, float]
    gaps_m: tuple[float, float] = (0.0, 0.0)
    placed: int = 0
    set_up_cost: float = 0.0
    is_checked: bool = False
    buck_cuts: tuple[BuckCut, ...] = ()
    bolts: tuple[BoltWorth, ...] = ()
    pairs: tuple[tuple[int, int], ...] = ()
    pairs_premium: float = 0.0

    @property
    def bolts_worth(self) -> float:
        """What all that was cut off brings."""
        return sum(bolt.worth for bolt in self.bolts)

    @property
    def net(self) -> float:
        """Slab prices and what pairs bring on top, less sawing and drying, and what the bolts bring."""
        return self.gross + self.pairs_premium - self.sawing_cost - self.drying_cost + self.bolts_worth


@dataclass(frozen=True, eq=False)
class _Within:
    """What lies in a layer, seen in plan: heart strip and marks between its faces, feathers on each of them.

    flaws, upper, lower : with the share of the price lost on each mark, and how well each feather shows.
    hiding : where no figure shows.
    """

    heart: BaseGeometry
    flaws: list[tuple[BaseGeometry, float]]
    upper: list[tuple[BaseGeometry, float]]
    lower: list[tuple[BaseGeometry, float]]
    hiding: BaseGeometry


@dataclass(frozen=True, eq=False)
class Pricer:
    """Prices cuts on a log's mesh."""

    bodies: LogBodies
    mill: Mill
    prices: PriceBook
    zones: tuple[Zone, ...] = ()

    def price(
        self,
        lay: Lay,
        rows: Sequence[int],
        entries: Sequence[MenuEntry | None],
        flipped_rows: Sequence[int] = (),
        flipped_entries: Sequence[MenuEntry | None] = (),
    ) -> Priced:
        """Price passes (whole height steps, from the top down) and what each layer between is meant for.

        An entry of None is waste. A slab whose price is below its own drying and handling is waste too.
        flipped_rows, flipped_entries : passes after a flip, in the flipped bed frame, and what lies under each
        of them, the last on the bunks.
        """
        bed = self.bodies.on_bed(lay)
        passes = [self.price_pass(bed, row) for row in rows]
        face_m = passes[-1].blade_height_m if flipped_rows else None
        turned = bed if face_m is None else flipped_bodies(bed, face_m)
        passes += [self.price_pass(turned, row, flipped=True) for row in flipped_rows]
        layers = layers_between(passes, self.mill.kerf_m)
        uses = zip(layers, (*entries, *flipped_entries), strict=True)
        meant = [(layer, entry) for layer, entry in uses if entry is not None]
        slabs = self._slabs_of(bed, [pair for pair in meant if not pair[0].flipped], lay.log_to_bed)
        if face_m is not None:
            after = [pair for pair in meant if pair[0].flipped]
            slabs += self._slabs_of(turned, after, flip_matrix(face_m) @ lay.log_to_bed)
        pace = self.mill.pace
        minutes = sum(p.minutes for p in passes) + pace.minutes_per_slab * len(slabs)
        minutes += pace.minutes_per_flip if flipped_rows else 0.0
        ends_m = self.bodies.log.outer.bounds_m[:, 0]
        pairs, premium, premium_lost = self._pairs_of(slabs)
        return Priced(
            lay=lay,
            stretch_m=(float(ends_m[0]), float(ends_m[1])),
            passes=tuple(passes),
            entries=(*entries, *flipped_entries[:-1]),
            flip_face_m=face_m,
            bed_entry=flipped_entries[-1] if flipped_rows else None,
            slabs=tuple(slabs),
            gross=sum(slab.price for slab in slabs),
            sawing_cost=self.mill.money(minutes) + pace.blade_cost_per_m2 * sum(p.cut_area_m2 for p in passes),
            drying_cost=sum(slab.drying_cost for slab in slabs) + premium_lost,
            pairs=pairs,
            pairs_premium=premium,
        )

    def _pairs_of(self, slabs: Sequence[PricedSlab]) -> tuple[tuple[tuple[int, int], ...], float, float]:
        """Return the pairs of slabs, what they bring on top, and what is lost of that until they are sold."""
        share = self.prices.pairs.premium
        if share == 0.0:
            return (), 0.0, 0.0
        pairs = best_pairs(slabs, self.prices.limits.min_length_m)
        premiums = [share * (slabs[a].price + slabs[b].price) for a, b in pairs]
        lost = [premium * (1.0 - slabs[a].entry.kept_share) for (a, _), premium in zip(pairs, premiums, strict=True)]
        return pairs, sum(premiums), sum(lost)

    def price_pass(self, bed: BedBodies, row: int, *, flipped: bool = False) -> PricedPass:
        """Measure one pass, in the plane of the bottom of the kerf, over the whole stretch."""
        height_m = row * self.mill.height_step_m
        outer = bed.outer.slice(height_m)
        section = outer if bed.wood is bed.outer else bed.wood.slice(height_m)
        reach_m = length_m = 0.0
        if not outer.is_empty():
            bounds = outer.bounds()
            reach_m = bounds[3] - bounds[1]
        if not section.is_empty():
            bounds = section.bounds()
            length_m = bounds[2] - bounds[0]
        area_m2 = section.area()
        minutes = self.mill.pass_minutes(length_m, area_m2)
        return PricedPass(row, flipped, height_m, reach_m, length_m, area_m2, minutes)

    def face_gives_a_slab(self, bed: BedBodies, height_m: float) -> bool:
        """Tell whether the face sawn at a height has a run of minimum width and length."""
        limits = self.prices.limits
        pieces = polygons_of(bed.usable.slice(height_m))
        return any(width_profile(p).runs(limits.min_width_m, limits.min_length_m) for p in pieces)

    def _slabs_of(self, bed: BedBodies, meant: list[tuple[Layer, MenuEntry]], matrix: FloatArray) -> list[PricedSlab]:
        lines = [moved(line, matrix) for line in self.bodies.log.hearts]
        zones = [(zone, moved(zone.corners_m, matrix)) for zone in self.zones]
        found: list[PricedSlab] = []
        for layer, entry in meant:
            found += self._slabs_of_layer(bed, layer, entry, self._within(layer, lines, zones, matrix[2, :3]))
        return found

    def _within(
        self, layer: Layer, lines: list[FloatArray], zones: list[tuple[Zone, FloatArray]], normal: FloatArray
    ) -> _Within:
        heart: BaseGeometry = Polygon()
        if lines:
            radius_m = self.bodies.log.heart_radius_m
            heart = heart_strip_in_plan(lines, radius_m, layer.lower_m, layer.upper_m)
        flaws, hiding = [], []
        feathers: dict[float, list[tuple[BaseGeometry, float]]] = {layer.upper_m: [], layer.lower_m: []}
        for zone, corners in zones:
            if zone.normal is not None:
                shows = alignment(normal, zone.normal)
                if shows > 0.0:
                    for face_m, found in feathers.items():
                        found.append((in_plan(corners, face_m, face_m), shows))
                continue
            seen = in_plan(corners, layer.lower_m, layer.upper_m)
            flaws.append((seen, zone.share))
            if zone.hides_figure:
                hiding.append(seen)
        return _Within(heart, flaws, feathers[layer.upper_m], feathers[layer.lower_m], union_all(hiding))

    def _slabs_of_layer(self, bed: BedBodies, layer: Layer, entry: MenuEntry, within: _Within) -> list[PricedSlab]:
        limits = self.prices.limits
        # On the bunks the lower face is the body's own: look a hair inside it.
        outline = bed.usable.slice(layer.upper_m) ^ bed.usable.slice(max(layer.lower_m, HAIR_M))
        pieces = sorted(polygons_of(outline), key=lambda piece: -piece.centroid.y)
        found: list[PricedSlab] = []
        number = 0
        for piece in pieces:
            if piece.bounds[2] - piece.bounds[0] < limits.min_length_m:
                continue
            profile = width_profile(piece)
            sold = [
                slab
                for run in profile.runs(limits.min_width_m, limits.min_length_m)
                for span in crosscut(
                    profile,
                    run,
                    limits.min_length_m,
                    limits.max_length_m or np.inf,
                    limits.max_width_m or np.inf,
                )
                if (slab := self._slab(layer, entry, number + 1, piece, profile.clipped(*span), within))
            ]
            number += bool(sold)
            found += sold
        return found

    def _slab(
        self, layer: Layer, entry: MenuEntry, number: int, piece: Polygon, part: WidthProfile, within: _Within
    ) -> PricedSlab | None:
        span = (float(part.x_m[0]), float(part.x_m[-1]))
        area_m2 = part.area_m2(self.prices.limits.max_width_m or np.inf)
        uncapped_m2 = part.area_m2()
        sold = piece.intersection(box(span[0], piece.bounds[1], span[1], piece.bounds[3]))
        heart = within.heart.intersection(sold)
        flaws = [(seen.intersection(sold), share) for seen, share in within.flaws]
        shown = sold.difference(within.hiding) if within.upper else sold
        upper, lower = (
            [(seen.intersection(shown), shows) for seen, shows in feathers] for feathers in (within.upper, within.lower)
        )
        feet = board_feet(area_m2, entry.quarters)
        price = feet * entry.price_per_board_foot * self.prices.width_factor_at(area_m2 / (span[1] - span[0]))
        lost_m2 = area_by_largest([(heart, self.prices.deduct.heart), *flaws])
        price *= max(0.0, 1.0 - lost_m2 / uncapped_m2)
        figured_feet = board_feet(0.5 * (area_by_largest(upper) + area_by_largest(lower)), entry.quarters)
        price += self.prices.figure.feather_per_board_foot * figured_feet
        drying_cost = feet * entry.drying_per_board_foot + price * (1.0 - entry.kept_share)
        if price < drying_cost + self.mill.money(self.mill.pace.minutes_per_slab):
            return None
        return PricedSlab(
            layer=layer.number,
            number=number,
            flipped=layer.flipped,
            entry=entry,
            upper_face_m=layer.upper_m,
            lower_face_m=layer.lower_m,
            piece=piece,
            span_m=span,
            area_m2=area_m2,
            uncapped_m2=uncapped_m2,
            min_width_m=part.least_m(),
            max_width_m=part.most_m(),
            heart=heart,
            marked=union_all([seen for seen, _ in flaws]),
            figured_upper=union_all([seen for seen, _ in upper]),
            figured_lower=union_all([seen for seen, _ in lower]),
            board_feet=feet,
            price=price,
            drying_cost=drying_cost,
        )


def area_by_largest(parts: Sequence[tuple[BaseGeometry, float]]) -> float:
    """Return the sum of area times share, each point taking the largest share that covers it. [m2]."""
    total, covered = 0.0, Polygon()
    for shape, share in sorted(parts, key=lambda part: -part[1]):
        if share > 0.0 and not shape.is_empty:
            total += share * shape.difference(covered).area
            covered = covered.union(shape)
    return total
