"""A plan priced on the mesh itself: the one place where money is worked out, whoever asks.

No stations and no margins: the faces are exact sections of the solids.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from shapely import Polygon, box, union_all
from shapely.geometry.base import BaseGeometry

from optimizer.bed.bodies import HAIR_M, BedBodies, LogBodies, flip_matrix, flipped_bodies, polygons_of
from optimizer.bed.bolts import BoltWorth
from optimizer.bed.buck_cuts import BuckCut
from optimizer.bed.faces import counted_profiles
from optimizer.bed.hearts import heart_strip_in_plan, mean_heart_m
from optimizer.bed.lay import Lay
from optimizer.bed.outlines import WidthProfile, crosscut, width_profile
from optimizer.bed.pairs import best_pairs
from optimizer.bed.ripping import LEAST_SHARE, beside_heart, heart_inside
from optimizer.bed.sawn_layers import Layer, layers_between
from optimizer.bed.tally import Counted, PricedBy, counted_slab
from optimizer.bed.zones import Zone, alignment, in_plan
from optimizer.documents.mill import Mill
from optimizer.documents.prices import MenuEntry, PriceBook
from optimizer.wood.board_feet import board_feet
from optimizer.wood.width_shrinkage import green_width, width_shrinkage
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
class PricedPart:
    """What one side of a slab gives that is ripped along its heart: see PricedSlab. is_left : or it is the right one.

    shape : the part of the outline that it is cut from, between its rip cut and the edge, within its own span.
    """

    is_left: bool
    shape: BaseGeometry
    span_m: tuple[float, float]
    tally_width_m: float
    tally_length_m: float
    board_feet: float
    price: float
    priced_by: PricedBy


@dataclass(frozen=True, eq=False)
class PricedSlab:
    """One slab sold; bed frame. Lengths in metres, money in the book's currency.

    piece : the whole piece of the outline; number : which piece of its layer, from 1 at the left, of
    those that are sold. heart, marked : heart strip and marked flaws within the span, seen in plan.
    figured_upper, figured_lower : the feather that each face shows within the span, but for bark pockets.
    tally_width_m, tally_length_m : as the buyer counts it; areas and other widths are green, of the outline.
    sound_price : of the whole slab, without flaws and figure; priced_by : the form of price that it is.
    ripped : its parts, where it is sold ripped along the heart; board feet and price are then theirs together.
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
    tally_width_m: float
    tally_length_m: float
    sound_price: float
    priced_by: PricedBy
    ripped: tuple[PricedPart, ...]
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

    lines : of the hearts, bed frame. off_heart_m : how far its middle is from their mean height; nan: there is none.
    flaws, upper, lower : with the share of the price lost on each mark, and how well each feather shows.
    hiding : where no figure shows.
    """

    lines: list[FloatArray]
    off_heart_m: float
    heart: BaseGeometry
    flaws: list[tuple[BaseGeometry, float]]
    upper: list[tuple[BaseGeometry, float]]
    lower: list[tuple[BaseGeometry, float]]
    hiding: BaseGeometry


@dataclass(frozen=True, eq=False)
class _Piece:
    """A piece of a layer's outline, and what is beside it: all wood on the layer's faces, and its other pieces.

    limit_m : the least green width that counts, for the whole layer. kept_at_limit : the share of such a width that is
    left when it is counted.
    """

    shape: Polygon
    others: Sequence[Polygon]
    upper: Sequence[Polygon]
    lower: Sequence[Polygon]
    limit_m: float
    kept_at_limit: float


@dataclass(frozen=True, eq=False)
class _Sale:
    """What a slab, or a part of one that is ripped, sells for; see PricedSlab. drying_cost : as there."""

    counted: Counted
    heart: BaseGeometry
    flaws: list[BaseGeometry]
    upper: list[BaseGeometry]
    lower: list[BaseGeometry]
    price: float
    drying_cost: float

    @property
    def after_drying(self) -> float:
        """What is left of the price."""
        return self.price - self.drying_cost


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
        heart_m = float(matrix[2, :3] @ self._mean_heart_m + matrix[2, 3])
        found: list[PricedSlab] = []
        for layer, entry in meant:
            within = self._within(layer, lines, zones, matrix[2, :3], heart_m)
            found += self._slabs_of_layer(bed, layer, entry, within)
        return found

    @cached_property
    def _mean_heart_m(self) -> FloatArray:
        log, trim_m = self.bodies.log, self.bodies.end_trim_m
        ends_m = log.outer.bounds_m[:, 0]
        return mean_heart_m(log.hearts, float(ends_m[0]) + trim_m[0], float(ends_m[1]) - trim_m[1])

    def _within(
        self,
        layer: Layer,
        lines: list[FloatArray],
        zones: list[tuple[Zone, FloatArray]],
        normal: FloatArray,
        heart_m: float,
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
        return _Within(
            lines=lines,
            off_heart_m=abs(0.5 * (layer.lower_m + layer.upper_m) - heart_m),
            heart=heart,
            flaws=flaws,
            upper=feathers[layer.upper_m],
            lower=feathers[layer.lower_m],
            hiding=union_all(hiding),
        )

    def _slabs_of_layer(self, bed: BedBodies, layer: Layer, entry: MenuEntry, within: _Within) -> list[PricedSlab]:
        limits = self.prices.limits
        # On the bunks the lower face is the body's own: look a hair inside it.
        upper, lower = bed.usable.slice(layer.upper_m), bed.usable.slice(max(layer.lower_m, HAIR_M))
        pieces = sorted(polygons_of(upper ^ lower), key=lambda piece: -piece.centroid.y)
        long = [piece for piece in pieces if piece.bounds[2] - piece.bounds[0] >= limits.min_length_m]
        if not long:
            return []
        sections = (upper, lower) if self._counts_faces else ()
        faces = [polygons_of(section) for section in sections] or [[], []]
        shrinks = entry.shrinks_radial, entry.shrinks_tangential, within.off_heart_m
        limit_m = green_width(limits.min_width_m, *shrinks)
        kept = 1.0 - width_shrinkage(*shrinks, limit_m)
        found: list[PricedSlab] = []
        number = 0
        for shape in long:
            others = [piece for piece in pieces if piece is not shape]
            piece = _Piece(shape, others, faces[0], faces[1], limit_m, kept)
            outline = width_profile(shape)
            counted = self._counted(piece, shape) if self._counts_faces else outline
            if counted is None:
                continue
            sold = [
                slab
                for span in self._spans(counted, piece)
                if (slab := self._slab(layer, entry, number + 1, piece, (counted, outline), span, within))
            ]
            number += bool(sold)
            found += sold
        return found

    def _spans(self, counted: WidthProfile, piece: _Piece) -> list[tuple[float, float]]:
        """Return where a piece is wide enough for long enough, cut to what buyers take. [m]."""
        limits = self.prices.limits
        longest_m, widest_m = limits.max_length_m or np.inf, limits.max_width_m or np.inf
        return [
            span
            for run in counted.runs(piece.limit_m, limits.min_length_m)
            for span in crosscut(counted, run, limits.min_length_m, longest_m, widest_m / piece.kept_at_limit)
        ]

    @property
    def _counts_faces(self) -> bool:
        return self.prices.tally.face != "both"

    def _counted(self, piece: _Piece, shape: BaseGeometry, within: BaseGeometry | None = None) -> WidthProfile | None:
        """Return the green widths that count of a part of a piece; None without any. within : what it was cut to."""
        beside = [piece.others, piece.upper, piece.lower] if self._counts_faces else [[], [], []]
        if within is not None:
            beside = [[one.intersection(within) for one in shapes] for shapes in beside]
        others, upper, lower = beside
        return counted_profiles([shape, *others], upper, lower, self.prices.tally.face)[0]

    def _slab(
        self,
        layer: Layer,
        entry: MenuEntry,
        number: int,
        piece: _Piece,
        profiles: tuple[WidthProfile, WidthProfile],
        span: tuple[float, float],
        within: _Within,
    ) -> PricedSlab | None:
        """Price a slab by the widths that count and those of the outline; None where it does not pay for itself."""
        part, outline = (profile.clipped(*span) for profile in profiles)
        span = (float(part.x_m[0]), float(part.x_m[-1]))
        sold = piece.shape.intersection(box(span[0], piece.shape.bounds[1], span[1], piece.shape.bounds[3]))
        uncapped_m2 = outline.area_m2()
        heart_share = self.prices.deduct.slab_with_heart
        inside = heart_inside(within.lines, layer.lower_m, layer.upper_m, sold) if heart_share > 0.0 else None
        has_heart = inside is not None and inside.share > LEAST_SHARE
        sale = self._sale(entry, part, sold, uncapped_m2, within, heart_share if has_heart else 0.0)
        ripped: list[tuple[_Sale, PricedPart]] = []
        if inside is not None and has_heart and inside.is_one:
            ripped = self._ripped(entry, piece, sold, beside_heart(inside.points_m, self._heart_radius_m, span), within)
        if sale is None:
            return None
        money = sale.price, sale.drying_cost
        if sum(side.after_drying for side, _ in ripped) > sale.after_drying:
            money = sum(side.price for side, _ in ripped), sum(side.drying_cost for side, _ in ripped)
        else:
            ripped = []
        price, drying_cost = money
        if price < drying_cost + self.mill.money(self.mill.pace.minutes_per_slab):
            return None
        counted = sale.counted
        feet = sum(side.counted.board_feet for side, _ in ripped) if ripped else counted.board_feet
        return PricedSlab(
            layer=layer.number,
            number=number,
            flipped=layer.flipped,
            entry=entry,
            upper_face_m=layer.upper_m,
            lower_face_m=layer.lower_m,
            piece=piece.shape,
            span_m=span,
            area_m2=outline.area_m2(self.prices.limits.max_width_m or np.inf),
            uncapped_m2=uncapped_m2,
            min_width_m=outline.least_m(),
            max_width_m=outline.most_m(),
            heart=sale.heart,
            marked=union_all(sale.flaws),
            figured_upper=union_all(sale.upper),
            figured_lower=union_all(sale.lower),
            tally_width_m=counted.width_m,
            tally_length_m=counted.length_m,
            sound_price=counted.price,
            priced_by=counted.priced_by,
            ripped=tuple(side for _, side in ripped),
            board_feet=feet,
            price=price,
            drying_cost=drying_cost,
        )

    @property
    def _heart_radius_m(self) -> float:
        return self.bodies.log.heart_radius_m

    def _sale(
        self,
        entry: MenuEntry,
        part: WidthProfile,
        shape: BaseGeometry,
        uncapped_m2: float,
        within: _Within,
        lost_share: float = 0.0,
    ) -> _Sale | None:
        """Price what is cut from end to end of a profile of widths that count; None where its buyer takes none such.

        shape : the outline's part there, of uncapped_m2. lost_share : lost of the whole price, beside what flaws cost.
        """
        counted = counted_slab(part, entry, self.prices, within.off_heart_m)
        if counted is None:
            return None
        heart = within.heart.intersection(shape)
        flaws = [(seen.intersection(shape), share) for seen, share in within.flaws]
        shown = shape.difference(within.hiding) if within.upper else shape
        upper, lower = (
            [(seen.intersection(shown), shows) for seen, shows in feathers] for feathers in (within.upper, within.lower)
        )
        lost_m2 = area_by_largest([(heart, self.prices.deduct.heart), *flaws])
        price = counted.price * max(0.0, 1.0 - lost_m2 / uncapped_m2 - lost_share)
        figured_feet = board_feet(0.5 * (area_by_largest(upper) + area_by_largest(lower)), entry.quarters)
        price += self.prices.figure.feather_per_board_foot * figured_feet
        return _Sale(
            counted=counted,
            heart=heart,
            flaws=[seen for seen, _ in flaws],
            upper=[seen for seen, _ in upper],
            lower=[seen for seen, _ in lower],
            price=price,
            drying_cost=counted.board_feet * entry.drying_per_board_foot + price * (1.0 - entry.kept_share),
        )

    def _ripped(
        self,
        entry: MenuEntry,
        piece: _Piece,
        sold: BaseGeometry,
        sides: tuple[Polygon, Polygon],
        within: _Within,
    ) -> list[tuple[_Sale, PricedPart]]:
        """Return what each side of a ripped slab sells for: its best run, where it has one that pays for its drying."""
        found = []
        for is_left, side in zip((True, False), sides, strict=True):
            shape = sold.intersection(side)
            profile = self._counted(piece, shape, side)
            if profile is None:
                continue
            offers = []
            for run in profile.runs(piece.limit_m, self.prices.limits.min_length_m):
                kept = shape.intersection(box(run[0], shape.bounds[1], run[1], shape.bounds[3]))
                sale = self._sale(entry, profile.clipped(*run), kept, kept.area, within)
                if sale is not None and sale.after_drying > 0.0:
                    offers.append((sale, _part(is_left, kept, run, sale)))
            if offers:
                found.append(max(offers, key=lambda offer: offer[0].after_drying))
        return found


def _part(is_left: bool, shape: BaseGeometry, span_m: tuple[float, float], sale: _Sale) -> PricedPart:
    counted = sale.counted
    return PricedPart(
        is_left=is_left,
        shape=shape,
        span_m=span_m,
        tally_width_m=counted.width_m,
        tally_length_m=counted.length_m,
        board_feet=counted.board_feet,
        price=sale.price,
        priced_by=counted.priced_by,
    )


def area_by_largest(parts: Sequence[tuple[BaseGeometry, float]]) -> float:
    """Return the sum of area times share, each point taking the largest share that covers it. [m2]."""
    total, covered = 0.0, Polygon()
    for shape, share in sorted(parts, key=lambda part: -part[1]):
        if share > 0.0 and not shape.is_empty:
            total += share * shape.difference(covered).area
            covered = covered.union(shape)
    return total
