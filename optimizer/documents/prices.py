"""The price book: what buyers pay and take, and the thicknesses that follow from it."""

from dataclasses import dataclass
from itertools import pairwise
from math import ceil

import numpy as np
from pydantic import Field, field_validator, model_validator

from optimizer.documents.mill import Mill
from optimizer.documents.typed import Typed
from optimizer.wood.woods import Wood, find_wood, wider_names
from scans.messages import Refusal, exact_length
from scans.units import INCH_M

ANY_SPECIES = "any"
STEP_TOLERANCE_M = 1e-9
"""A drop that falls short of its thickness by less than this still holds it."""


class PriceError(Refusal):
    """The price book has nothing for this log."""


class PricePerBoardFoot(Typed):
    """The price of one species at one thickness."""

    species: str = Field(max_length=200, description='A species of the table, a group such as "oak", or "any".')
    quarters: int = Field(ge=1, le=64, description="Quarters of an inch that it is sold as.")
    price: float = Field(ge=0, le=1e6, description="Price for a board foot.")
    saw_m: float | None = Field(
        None, gt=0, le=1, description="Green thickness to saw for it; none: worked out from the wood. [m]"
    )

    @field_validator("species")
    @classmethod
    def known_species(cls, name: str) -> str:
        """Hold the table's own name."""
        return ANY_SPECIES if name.strip().lower() == ANY_SPECIES else find_wood(name).name


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
    """What drying costs."""

    cost_per_board_foot: float = Field(0.0, ge=0, le=1e6, description="Cost of drying a board foot.")


class Money(Typed):
    """What else brings or costs money."""

    offcut_per_kg: float = Field(
        0.0, ge=0, le=1e6, description="What wood that is bucked off and gives no slab sells for. [per kg]"
    )


class PriceBook(Typed):
    """What slabs sell for."""

    name: str = Field("prices", max_length=200, description="What the owner calls it.")
    currency: str = Field("USD", min_length=1, max_length=8, description="The currency of every amount.")
    per_board_foot: tuple[PricePerBoardFoot, ...] = Field(min_length=1, description="The prices.")
    width_factor: tuple[WidthFactor, ...] = Field(
        (), description="Points of a curve, by rising width; straight between, flat outside; none: 1."
    )
    deduct: Deduct = Field(default_factory=Deduct, description="What flaws cost.")
    figure: FigurePremium = Field(default_factory=FigurePremium, description="What figure brings.")
    limits: Limits = Field(description="What buyers take.")
    finish: Finish = Field(default_factory=Finish, description="What slabs are dried and flattened to.")
    drying: Drying = Field(default_factory=Drying, description="What drying costs.")
    money: Money = Field(default_factory=Money, description="What else brings or costs money.")

    @model_validator(mode="after")
    def no_row_twice(self) -> "PriceBook":
        """Refuse two prices for one thing, and a width curve that runs backwards."""
        rows = [(row.species, row.quarters) for row in self.per_board_foot]
        for species, quarters in rows:
            if rows.count((species, quarters)) > 1:
                raise ValueError(f"per_board_foot has {species} {quarters}/4 more than once; keep one")
        widths = [point.at_m for point in self.width_factor]
        for before, after in pairwise(widths):
            if after <= before:
                raise ValueError(f"width_factor.at_m must rise from point to point, got {after:g} after {before:g}")
        return self

    def rows_for(self, species: str) -> tuple[PricePerBoardFoot, ...]:
        """Return the rows of a species (its name in the table), else of its narrowest group, else those for any.

        Raises PriceError where there are neither.
        """
        priced_names = {row.species for row in self.per_board_foot}
        name = next((name for name in (species, *wider_names(species), ANY_SPECIES) if name in priced_names), None)
        rows = tuple(row for row in self.per_board_foot if row.species == name)
        if not rows:
            priced = ", ".join(sorted(priced_names))
            raise PriceError(
                f'the price book "{self.name}" has no price for {species} and none for "any" (it prices {priced})',
                "add a [[per_board_foot]] block for it",
                field="per_board_foot",
            )
        return rows

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
    """

    quarters: int
    price_per_board_foot: float
    wanted_m: float
    drop_steps: int
    green_m: float
    bed_steps: int
    bed_green_m: float


def drop_steps(thickness_m: float, mill: Mill) -> int:
    """Return the least number of height steps that holds a thickness and the kerf (to 1e-9 m)."""
    return ceil((thickness_m + mill.kerf_m - STEP_TOLERANCE_M) / mill.height_step_m)


def menu_for(prices: PriceBook, wood: Wood, mill: Mill) -> tuple[MenuEntry, ...]:
    """Return the thicknesses that the price book knows for a wood, thinnest first.

    Raises PriceError where nothing is priced, or where a row's `saw` is thinner than what is sold.
    """
    entries = []
    for row in sorted(prices.rows_for(wood.name), key=lambda row: row.quarters):
        wanted_m = row.saw_m
        if wanted_m is None:
            wanted_m = wood.green_thickness_m(row.quarters, prices.finish.allowance_m, prices.finish.moisture_pct)
        elif wanted_m < row.quarters * INCH_M / 4.0 - STEP_TOLERANCE_M:
            raise PriceError(
                f"{row.species} {row.quarters}/4: saw must be at least {exact_length(row.quarters * INCH_M / 4)}, "
                f"got {exact_length(wanted_m)}"
            )
        steps = drop_steps(wanted_m, mill)
        green_m = steps * mill.height_step_m - mill.kerf_m
        bed = ceil((wanted_m - STEP_TOLERANCE_M) / mill.height_step_m)
        entries.append(MenuEntry(row.quarters, row.price, wanted_m, steps, green_m, bed, bed * mill.height_step_m))
    return tuple(entries)
