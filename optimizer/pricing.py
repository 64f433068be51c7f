"""A plan priced on the mesh itself: the one place where money is worked out, whoever asks.

No stations and no margins: the faces are exact sections of the solids.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from shapely import Polygon, box
from shapely.geometry.base import BaseGeometry

from optimizer.board_feet import board_feet
from optimizer.bodies import BedBodies, LogBodies, polygons_of
from optimizer.hearts import heart_strip_in_plan
from optimizer.lay import Lay
from optimizer.mill import Mill
from optimizer.outlines import WidthProfile, crosscut, width_profile
from optimizer.prices import MenuEntry, PriceBook
from scans.log import FloatArray


@dataclass(frozen=True, eq=False)
class PricedPass:
    """One pass: its height in steps and metres, and what it asks of the mill. [m, m2]."""

    row: int
    blade_height_m: float
    reach_m: float
    cut_length_m: float
    cut_area_m2: float
    minutes: float


@dataclass(frozen=True, eq=False)
class PricedSlab:
    """One slab sold; bed frame. Lengths in metres, money in the book's currency.

    piece : the whole piece of the outline; number : which piece of its layer, from 1 at the left, of
    those that are sold. heart : the heart strip within the span.
    """

    layer: int
    number: int
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
    board_feet: float
    price: float

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
    """Passes and slabs of one lay, with the money."""

    lay: Lay
    passes: tuple[PricedPass, ...]
    entries: tuple[MenuEntry | None, ...]
    slabs: tuple[PricedSlab, ...]
    gross: float
    sawing_cost: float
    drying_cost: float

    @property
    def net(self) -> float:
        """Slab prices less sawing and drying."""
        return self.gross - self.sawing_cost - self.drying_cost


@dataclass(frozen=True, eq=False)
class Pricer:
    """Prices cuts on a log's mesh."""

    bodies: LogBodies
    mill: Mill
    prices: PriceBook

    def price(self, lay: Lay, rows: Sequence[int], entries: Sequence[MenuEntry | None]) -> Priced:
        """Price passes (whole height steps, from the top down) and what each layer between is meant for.

        An entry of None is waste. A slab whose price is below its own drying and handling is waste too.
        """
        bed = self.bodies.on_bed(lay)
        passes = tuple(self.price_pass(bed, row) for row in rows)
        slabs: list[PricedSlab] = []
        lines = [lay.to_bed(line) for line in self.bodies.log.hearts]
        for layer, entry in enumerate(entries, start=1):
            if entry is not None:
                upper_m = passes[layer - 1].blade_height_m
                lower_m = passes[layer].blade_height_m + self.mill.kerf_m
                slabs += self._slabs_of_layer(bed, layer, entry, upper_m, lower_m, lines)
        minutes = sum(p.minutes for p in passes) + self.mill.pace.minutes_per_slab * len(slabs)
        return Priced(
            lay=lay,
            passes=passes,
            entries=tuple(entries),
            slabs=tuple(slabs),
            gross=sum(slab.price for slab in slabs),
            sawing_cost=self.mill.money(minutes),
            drying_cost=sum(slab.board_feet for slab in slabs) * self.prices.drying.cost_per_board_foot,
        )

    def price_pass(self, bed: BedBodies, row: int) -> PricedPass:
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
        return PricedPass(row, height_m, reach_m, length_m, area_m2, self.mill.pass_minutes(length_m, area_m2))

    def face_gives_a_slab(self, bed: BedBodies, height_m: float) -> bool:
        """Tell whether the face sawn at a height has a run of minimum width and length."""
        limits = self.prices.limits
        pieces = polygons_of(bed.usable.slice(height_m))
        return any(width_profile(p).runs(limits.min_width_m, limits.min_length_m) for p in pieces)

    def _slabs_of_layer(
        self,
        bed: BedBodies,
        layer: int,
        entry: MenuEntry,
        upper_m: float,
        lower_m: float,
        lines: list[FloatArray],
    ) -> list[PricedSlab]:
        limits = self.prices.limits
        outline = bed.usable.slice(upper_m) ^ bed.usable.slice(lower_m)
        pieces = sorted(polygons_of(outline), key=lambda piece: -piece.centroid.y)
        heart: BaseGeometry = Polygon()
        if lines:
            heart = heart_strip_in_plan(lines, self.bodies.log.heart_radius_m, lower_m, upper_m)
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
                if (slab := self._slab(layer, number + 1, entry, upper_m, lower_m, piece, profile, span, heart))
            ]
            number += bool(sold)
            found += sold
        return found

    def _slab(
        self,
        layer: int,
        number: int,
        entry: MenuEntry,
        upper_m: float,
        lower_m: float,
        piece: Polygon,
        profile: WidthProfile,
        span: tuple[float, float],
        heart: BaseGeometry,
    ) -> PricedSlab | None:
        part = profile.clipped(*span)
        area_m2 = part.area_m2(self.prices.limits.max_width_m or np.inf)
        uncapped_m2 = part.area_m2()
        in_span: BaseGeometry = Polygon()
        if not heart.is_empty:
            _, low_y, _, high_y = piece.bounds
            in_span = heart.intersection(piece).intersection(box(span[0], low_y, span[1], high_y))
        feet = board_feet(area_m2, entry.quarters)
        price = feet * entry.price_per_board_foot * self.prices.width_factor_at(area_m2 / (span[1] - span[0]))
        price = max(0.0, price * (1.0 - self.prices.deduct.heart * in_span.area / uncapped_m2))
        own_cost = feet * self.prices.drying.cost_per_board_foot + self.mill.money(self.mill.pace.minutes_per_slab)
        if price < own_cost:
            return None
        return PricedSlab(
            layer=layer,
            number=number,
            entry=entry,
            upper_face_m=upper_m,
            lower_face_m=lower_m,
            piece=piece,
            span_m=span,
            area_m2=area_m2,
            uncapped_m2=uncapped_m2,
            min_width_m=part.least_m(),
            max_width_m=part.most_m(),
            heart=in_span,
            board_feet=feet,
            price=price,
        )
