"""The price book: what buyers pay and take, and the thicknesses that follow from it."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil
from typing import Any, Literal

import numpy as np
from pydantic import Field, field_validator, model_validator

from optimizer.documents.mill import Mill
from optimizer.documents.typed import Typed
from optimizer.wood.moisture import shrinkage_pct
from optimizer.wood.woods import Wood, find_wood, wider_names
from scans.messages import Refusal, exact_length, named
from scans.units import INCH_M

ANY_SPECIES = "any"
STEP_TOLERANCE_M = 1e-9
"""A drop that falls short of its thickness by less than this still holds it."""
DRYING_EXPONENT = 1.8
"""Cost and months of drying grow with thickness to this power where the book has no row (between 1.5 and 2.0: an
estimate from published drying times, FPL-GTR-117 and trade press; not a standard)."""
MONTHS_IN_YEAR = 12.0


class PriceError(Refusal):
    """The price book has nothing for this log."""


class PriceRow(Typed):
    """What one species at one thickness is sold by."""

    species: str = Field(max_length=200, description='A species of the table, a group such as "oak", or "any".')
    quarters: int = Field(ge=1, le=64, description="Quarters of an inch that it is sold as.")
    saw_m: float | None = Field(
        None, gt=0, le=1, description="Green thickness to saw for it; none: worked out from the wood. [m]"
    )

    @field_validator("species")
    @classmethod
    def known_species(cls, name: str) -> str:
        """Hold the table's own name."""
        return ANY_SPECIES if name.strip().lower() == ANY_SPECIES else find_wood(name).name


class PricePerBoardFoot(PriceRow):
    """A price by the board foot."""

    price: float = Field(ge=0, le=1e6, description="Price for a board foot.")


class PricePerSquareFoot(PriceRow):
    """A price by the square foot of face."""

    price: float = Field(ge=0, le=1e6, description="Price for a square foot of tallied face.")


class PricePerSlab(PriceRow):
    """A price for a whole slab that is at least so wide and so long."""

    price: float = Field(ge=0, le=1e7, description="Price for the slab.")
    least_width_m: float = Field(0.0, ge=0, le=10, description="The least tallied width that it is paid for. [m]")
    least_length_m: float = Field(0.0, ge=0, le=30, description="The least tallied length that it is paid for. [m]")


class Tally(Typed):
    """How the buyer counts a slab."""

    moisture: Literal["green", "dry"] = Field(
        "green", description="Widths as sawn, or as they will be at the book's moisture."
    )
    face: Literal["both", "narrow", "wide", "mean"] = Field(
        "both",
        description="Wood on both faces; the narrower or the wider face at each place; the mean of the two.",
    )
    width: Literal["mean", "middle", "three", "least"] = Field(
        "mean",
        description="Mean along the slab; at its middle; the mean of that and of a foot from each end; the least.",
    )
    round_width_m: float = Field(0.0, ge=0, le=1, description="Widths are rounded down to this; 0: not rounded. [m]")
    round_length_m: float = Field(0.0, ge=0, le=10, description="Lengths are rounded down to this; 0: not rounded. [m]")


class Pairs(Typed):
    """What two slabs that were sawn one after the other bring together."""

    premium: float = Field(0.0, ge=0, le=10, description="Share of both prices that a pair brings on top.")


class WidthFactor(Typed):
    """One point of the curve that multiplies prices by a slab's mean width."""

    at_m: float = Field(ge=0, le=10, description="Mean width. [m]")
    factor: float = Field(ge=0, le=100, description="What the price is multiplied by there.")


class Deduct(Typed):
    """Share of the price lost on the area of a flaw."""

    heart: float = Field(0.0, ge=0, le=1, description="Share lost on the heart strip.")
    knot: float = Field(0.0, ge=0, le=1, description="Share lost on knots.")
    rot: float = Field(0.0, ge=0, le=1, description="Share lost on rot.")
    crack: float = Field(0.0, ge=0, le=1, description="Share lost on cracks.")
    bark_pocket: float = Field(0.0, ge=0, le=1, description="Share lost on bark pockets; no figure shows there.")
    slab_with_heart: float = Field(
        0.0,
        ge=0,
        le=1,
        description="Share of the whole price lost where the heart runs inside a slab for over a quarter of its span.",
    )


class FigurePremium(Typed):
    """What figured wood brings on top."""

    feather_per_board_foot: float = Field(0.0, ge=0, le=1e6, description="Premium for a board foot of feather.")


class Limits(Typed):
    """What buyers take."""

    min_width_m: float = Field(gt=0, le=10, description="Narrowest width that counts. [m]")
    max_width_m: float | None = Field(None, gt=0, le=10, description="Width counts up to this; none: all. [m]")
    min_length_m: float = Field(gt=0, le=30, description="Shortest slab. [m]")
    max_length_m: float | None = Field(None, gt=0, le=30, description="Longest slab; none: any. [m]")

    @model_validator(mode="after")
    def in_order(self) -> "Limits":
        """Refuse a maximum below its minimum."""
        for what in ("width", "length"):
            least, most = getattr(self, f"min_{what}_m"), getattr(self, f"max_{what}_m")
            if most is not None and most < least:
                raise ValueError(f"max_{what}_m must be at least min_{what}_m ({least:g}), got {most:g}")
        return self


class Finish(Typed):
    """What the slabs are dried and flattened to."""

    moisture_pct: float = Field(
        8.0,
        ge=0,
        le=30,
        description="Moisture content that the slab is sold at; 8 unless said otherwise. [%]",
    )
    allowance_m: float = Field(0.0, ge=0, le=0.1, description="Taken off in flattening, both faces. [m]")


class Drying(Typed):
    """What drying costs, in money, time and loss."""

    quarters: int | None = Field(None, ge=1, le=64, description="The thickness that it is for; none: every thickness.")
    cost_per_board_foot: float = Field(0.0, ge=0, le=1e6, description="Cost of drying a board foot.")
    months: float = Field(0.0, ge=0, le=240, description="Months from the saw to the sale.")
    lost: float = Field(0.0, ge=0, lt=1, description="Share of slabs lost in drying.")


class Money(Typed):
    """What else brings or costs money."""

    offcut_per_kg: float = Field(
        0.0, ge=0, le=1e6, description="What wood that is bucked off and gives no slab sells for. [per kg]"
    )
    thicknesses: int | None = Field(
        None, ge=1, le=64, description="At most so many different thicknesses from one log; none: any number."
    )
    yearly_rate: float = Field(
        0.0, ge=0, le=10, description="What money that comes a year later loses: 0.08 is 8 % a year."
    )


class PriceBook(Typed):
    """What slabs sell for."""

    name: str = Field("prices", max_length=200, description="What the owner calls it.")
    currency: str = Field("USD", min_length=1, max_length=8, description="The currency of every amount.")
    per_board_foot: tuple[PricePerBoardFoot, ...] = Field((), description="Prices by the board foot.")
    per_square_foot: tuple[PricePerSquareFoot, ...] = Field((), description="Prices by the square foot of face.")
    per_slab: tuple[PricePerSlab, ...] = Field((), description="Prices by the slab.")
    tally: Tally = Field(default_factory=Tally, description="How buyers count a slab.")
    pairs: Pairs = Field(default_factory=Pairs, description="What pairs bring.")
    width_factor: tuple[WidthFactor, ...] = Field(
        (), description="Points of a curve, by rising width; straight between, flat outside; none: 1."
    )
    deduct: Deduct = Field(default_factory=Deduct, description="What flaws cost.")
    figure: FigurePremium = Field(default_factory=FigurePremium, description="What figure brings.")
    limits: Limits = Field(description="What buyers take.")
    finish: Finish = Field(default_factory=Finish, description="What slabs are dried and flattened to.")
    drying: tuple[Drying, ...] = Field((), description="What drying costs, by thickness; none: nothing.")
    money: Money = Field(default_factory=Money, description="What else brings or costs money.")

    @field_validator("drying", mode="before")
    @classmethod
    def one_table_or_rows(cls, given: Any) -> Any:
        """Take one table that serves every thickness, as books had before there were rows."""
        return (given,) if isinstance(given, dict | Drying) else given

    @model_validator(mode="after")
    def no_row_twice(self) -> "PriceBook":
        """Refuse a book without a price, two rows for one thing, and a width curve that runs backwards."""
        if not self.rows:
            raise Refusal("the book has no price", f"add one under {named('per_board_foot')}")
        for form in ("per_board_foot", "per_square_foot"):
            rows = [(row.species, row.quarters) for row in getattr(self, form)]
            for species, quarters in rows:
                if rows.count((species, quarters)) > 1:
                    raise ValueError(f"{form} has {species} {quarters}/4 more than once; keep one")
        dried = [row.quarters for row in self.drying]
        for thickness in dried:
            if dried.count(thickness) > 1:
                which = "without quarters" if thickness is None else f"for {thickness}/4"
                raise ValueError(f"drying has more than one row {which}; keep one")
        widths = [point.at_m for point in self.width_factor]
        for before, after in pairwise(widths):
            if after <= before:
                raise ValueError(f"width_factor.at_m must rise from point to point, got {after:g} after {before:g}")
        return self

    @property
    def rows(self) -> tuple[PriceRow, ...]:
        """Every row of price, whatever it is paid by."""
        return (*self.per_board_foot, *self.per_square_foot, *self.per_slab)

    def rows_for(self, species: str) -> tuple[PriceRow, ...]:
        """Return the rows of a species (its name in the table), else of its narrowest group, else those for any.

        Raises PriceError where there are neither.
        """
        priced_names = {row.species for row in self.rows}
        name = next((name for name in (species, *wider_names(species), ANY_SPECIES) if name in priced_names), None)
        rows = tuple(row for row in self.rows if row.species == name)
        if not rows:
            priced = ", ".join(sorted(priced_names))
            raise PriceError(
                f'the price book "{self.name}" has no price for {species} and none for "any" (it prices {priced})',
                "add a [[per_board_foot]] block for it",
                field="per_board_foot",
            )
        return rows

    def drying_of(self, quarters: int) -> Drying:
        """Return what drying costs at a thickness: its own row, else that for every thickness, else the nearest's.

        From the nearest thickness cost and months grow with thickness to DRYING_EXPONENT; the share lost stays.
        """
        rows = {row.quarters: row for row in self.drying}
        if quarters in rows:
            return rows[quarters]
        if None in rows:
            return rows[None].model_copy(update={"quarters": quarters})
        if not rows:
            return Drying(quarters=quarters)
        nearest = min((known for known in rows if known is not None), key=lambda known: abs(known - quarters))
        growth = (quarters / nearest) ** DRYING_EXPONENT
        row = rows[nearest]
        return row.model_copy(
            update={
                "quarters": quarters,
                "cost_per_board_foot": row.cost_per_board_foot * growth,
                "months": row.months * growth,
            }
        )

    def kept_share(self, drying: Drying) -> float:
        """Return the share of a price that is left of it today, after what is lost and what waiting costs."""
        discount: float = (1.0 + self.money.yearly_rate) ** (-drying.months / MONTHS_IN_YEAR)
        return (1.0 - drying.lost) * discount

    def width_factor_at(self, mean_width_m: float) -> float:
        """Return the factor at a mean width: straight lines between the points, flat outside."""
        if not self.width_factor:
            return 1.0
        at = [point.at_m for point in self.width_factor]
        return float(np.interp(mean_width_m, at, [point.factor for point in self.width_factor]))


@dataclass(frozen=True)
class MenuEntry:
    """A thickness that can be sawn for sale.

    wanted_m : the green thickness asked for. drop_steps : height steps from one pass to the next.
    green_m : the green thickness that the drop leaves, `drop_steps` x step - kerf. [m]
    bed_steps, bed_green_m : the same for the slab that lies on the bunks after a flip, with no kerf below it.
    price_per_board_foot, price_per_square_foot : 0 where it is not sold by them. slab_rows : prices by the slab.
    drying_per_board_foot, months : what drying costs, and how long until it is sold. kept_share : the share of a price
    that is left today, after what is lost in drying and what waiting costs.
    shrinks_radial, shrinks_tangential : shares of a width that are lost before the buyer counts it, across the rings
    and along them; 0 where green widths count.
    """

    quarters: int
    price_per_board_foot: float
    price_per_square_foot: float
    slab_rows: tuple[PricePerSlab, ...]
    drying_per_board_foot: float
    months: float
    kept_share: float
    wanted_m: float
    drop_steps: int
    green_m: float
    bed_steps: int
    bed_green_m: float
    shrinks_radial: float = 0.0
    shrinks_tangential: float = 0.0


def drop_steps(thickness_m: float, mill: Mill) -> int:
    """Return the least number of height steps that holds a thickness and the kerf (to 1e-9 m)."""
    return ceil((thickness_m + mill.kerf_m - STEP_TOLERANCE_M) / mill.height_step_m)


def menu_for(prices: PriceBook, wood: Wood, mill: Mill) -> tuple[MenuEntry, ...]:
    """Return the thicknesses that the price book knows for a wood, thinnest first.

    Raises PriceError where nothing is priced, or where a row's `saw` is thinner than what is sold.
    """
    entries = []
    rows = prices.rows_for(wood.name)
    radial, tangential = (
        shrinkage_pct(total_pct, prices.finish.moisture_pct) / 100.0 if prices.tally.moisture == "dry" else 0.0
        for total_pct in (wood.shrinkage_radial_pct, wood.shrinkage_tangential_pct)
    )
    for quarters in sorted({row.quarters for row in rows}):
        same = [row for row in rows if row.quarters == quarters]
        wanted_m = _wanted_m(same, quarters, prices, wood)
        steps = drop_steps(wanted_m, mill)
        bed = ceil((wanted_m - STEP_TOLERANCE_M) / mill.height_step_m)
        drying = prices.drying_of(quarters)
        entries.append(
            MenuEntry(
                quarters=quarters,
                price_per_board_foot=sum(row.price for row in same if isinstance(row, PricePerBoardFoot)),
                price_per_square_foot=sum(row.price for row in same if isinstance(row, PricePerSquareFoot)),
                slab_rows=tuple(row for row in same if isinstance(row, PricePerSlab)),
                drying_per_board_foot=drying.cost_per_board_foot,
                months=drying.months,
                kept_share=prices.kept_share(drying),
                wanted_m=wanted_m,
                drop_steps=steps,
                green_m=steps * mill.height_step_m - mill.kerf_m,
                bed_steps=bed,
                bed_green_m=bed * mill.height_step_m,
                shrinks_radial=radial,
                shrinks_tangential=tangential,
            )
        )
    return tuple(entries)


def _wanted_m(rows: Sequence[PriceRow], quarters: int, prices: PriceBook, wood: Wood) -> float:
    """Return the green thickness that the rows of a thickness ask for: the thickest that one says, else the wood's."""
    said_m = max((row.saw_m for row in rows if row.saw_m is not None), default=None)
    if said_m is None:
        return wood.green_thickness_m(quarters, prices.finish.allowance_m, prices.finish.moisture_pct)
    if said_m < quarters * INCH_M / 4.0 - STEP_TOLERANCE_M:
        raise PriceError(
            f"{rows[0].species} {quarters}/4: saw must be at least {exact_length(quarters * INCH_M / 4)}, "
            f"got {exact_length(said_m)}"
        )
    return said_m
