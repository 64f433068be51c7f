"""Woods: how heavy they are, how they shrink, and how thick their bark is.

The figures are package data, each with its source and whether it was seen there or is from memory:
`species.csv` (70 North American species) and `bark.csv` (bark ratios). Species means; one log may
differ from them by 10 % or more in gravity, and more in moisture (from memory: Wood Handbook).

"Wood Handbook" is FPL-GTR-282 (USDA Forest Service, Forest Products Laboratory, 2021).
"""

import csv
import math
import pkgutil
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from functools import cache
from types import MappingProxyType

from optimizer.wood.board_feet import quarters_thickness_m
from optimizer.wood.moisture import WATER_KG_M3, density_kg_m3, shrinkage_pct
from optimizer.wood.species_names import UnknownSpeciesError, groups_of, match_species
from scans.units import INCH_M

__all__ = ["UNKNOWN_NAME", "UnknownSpeciesError", "Wood", "find_wood", "known_woods", "unknown_wood", "wider_names"]

UNKNOWN_NAME = "unknown"
_NOT_KNOWN = frozenset({"", UNKNOWN_NAME, "not known", "don't know"})
_UNKNOWN_GREEN_DENSITY_KG_M3 = 1217.0  # 76 lb/ft3, the densest green wood of the table: safe to lift by
_UNKNOWN_GRAVITY_GREEN = 0.80  # that wood's, live oak: a gravity that can hold so much water
_UNKNOWN_BARK_RATIO = 0.92

_BARK_RATIO_LEAST, _BARK_RATIO_MOST = 0.80, 0.99


@dataclass(frozen=True)
class Wood:
    """One wood of the table, or the wood that nobody knows.

    name : the table's, in lower case: "maple, sugar".
    specific_gravity_green : oven-dry mass / green volume / density of water.
    green_moisture_pct : mean of heart and sapwood, of the oven-dry mass.
    shrinkage_radial_pct, shrinkage_tangential_pct, shrinkage_volumetric_pct : green to oven-dry, of
        the green size.
    bark_volume_pct : of the volume of the wood.
    bark_specific_gravity, bark_moisture_pct : as for wood; often borrowed between species.
    specific_gravity_12pct : oven-dry mass / volume at 12 % moisture / density of water.
    bark_intercept_in, bark_slope : inside diameter = intercept + slope x outside diameter, inches; None
        where no equation is listed.
    bark_ratios : inside / outside diameter, one for each region that lists one; they serve where there is
        no equation.
    source, table, note : where the figures are from.
    status : "seen", or "memory" if any of them is from memory (the note says which).
    known : false for the wood that stands in where the species is not known.
    group : the woods that a group's name means; empty for one of the table. stands_for : the tree that was named, where
        the table does not hold it.
    """

    name: str
    scientific_name: str
    specific_gravity_green: float
    green_moisture_pct: float
    shrinkage_radial_pct: float
    shrinkage_tangential_pct: float
    shrinkage_volumetric_pct: float
    bark_volume_pct: float
    bark_specific_gravity: float
    bark_moisture_pct: float
    specific_gravity_12pct: float
    source: str
    table: str
    status: str
    note: str
    bark_intercept_in: float | None = None
    bark_slope: float | None = None
    bark_ratios: tuple[float, ...] = ()
    known: bool = True
    group: tuple["Wood", ...] = ()
    stands_for: str = ""

    @property
    def taken_as(self) -> str:
        """What the reader of a plan should know of how the wood was taken; empty for a wood of the table itself."""
        tree = f"{self.stands_for.capitalize()} is not in the table of woods. " if self.stands_for else ""
        if self.group:
            heaviest = max(self.group, key=lambda wood: wood.green_density_kg_m3)
            return (
                f'{tree}"{self.name}" is taken as a group of {len(self.group)} woods: weights are those of the '
                f"heaviest, {heaviest.name}, and shrinkage and bark are the average."
            )
        return f"{tree}It is taken as {self.name}, of the same genus." if tree else ""

    @property
    def green_density_kg_m3(self) -> float:
        """Mass of green wood by its green volume. [kg/m3]."""
        return density_kg_m3(self.specific_gravity_green, self.green_moisture_pct)

    @property
    def bark_density_kg_m3(self) -> float:
        """Mass of green bark by its green volume. [kg/m3]."""
        return density_kg_m3(self.bark_specific_gravity, self.bark_moisture_pct)

    def mean_shrinkage_pct(self, moisture_pct: float) -> float:
        """Mean of radial and tangential shrinkage from green to a moisture content, of the green size. [%].

        Slabs are neither flat nor quarter-sawn throughout (common practice, no source).
        """
        mean = (self.shrinkage_radial_pct + self.shrinkage_tangential_pct) / 2.0
        return shrinkage_pct(mean, moisture_pct)

    def green_thickness_m(self, quarters: int, allowance_m: float, moisture_pct: float) -> float:
        """Return what to saw, for a slab that is full thickness when dry and flat. [m].

        (nominal + allowance) / (1 - S), S the mean shrinkage. Not yet rounded to what a mill can set.

        quarters : nominal thickness in quarters of an inch; 8 is 2 in.
        allowance_m : wood to lose in flattening, both faces together, at least 0. [m]
        moisture_pct : of the finished slab.
        """
        if not 0.0 <= allowance_m < math.inf:
            raise ValueError(f"allowance_m must be a finite length of at least 0, got {allowance_m:g}")
        return green_thickness_m(quarters, allowance_m, self.mean_shrinkage_pct(moisture_pct))

    def bark_ratio(self, outer_diameter_m: float) -> float:
        """Return inside / outside diameter, k, for an outer diameter.

        The species' equation, kept within 0.80 to 0.99 (Clark and others 1991, Table 9, as printed and
        clamped in the Forest Service's growth model); else the mean of the ratios that the same model lists for
        the Northeast, Central and Lake States (the last after Raile 1982, Research Paper NC-224); else from
        the bark's share of volume, 1 / sqrt(1 + B / 100). `bark_ratio_basis` tells which. Made for breast
        height; double the bark's thickness is outer diameter x (1 - k).

        Raises ValueError for a diameter that is not above 0.
        """
        if not 0.0 < outer_diameter_m < math.inf:
            raise ValueError(f"outer_diameter_m must be a finite length above 0, got {outer_diameter_m:g}")
        if self.group:
            return sum(wood.bark_ratio(outer_diameter_m) for wood in self.group) / len(self.group)
        if self.bark_intercept_in is not None and self.bark_slope is not None:
            ratio = self.bark_intercept_in * INCH_M / outer_diameter_m + self.bark_slope
            return min(max(ratio, _BARK_RATIO_LEAST), _BARK_RATIO_MOST)
        if self.bark_ratios:
            return sum(self.bark_ratios) / len(self.bark_ratios)
        return 1.0 / math.sqrt(1.0 + self.bark_volume_pct / 100.0)

    @property
    def bark_ratio_basis(self) -> str:
        """What `bark_ratio` rests on, in words for the reader of a plan."""
        if not self.known:
            return "a usual ratio, as the species is not known"
        if self.group:
            return f"the mean of {len(self.group)} woods"
        if self.bark_intercept_in is not None:
            return "the species' equation"
        if len(self.bark_ratios) > 1:
            return f"the mean of {len(self.bark_ratios)} regional ratios"
        return "one region's ratio" if self.bark_ratios else "the species' share of bark"

    def log_mass_kg(self, wood_volume_m3: float, outer_volume_m3: float | None = None) -> float:
        """Return the mass of a green log, its bark included. [kg].

        wood_volume_m3 : of the wood alone. [m3]
        outer_volume_m3 : of wood and bark; the same as the wood's where the bark is off. None takes the
            species' share of bark. [m3]

        Raises ValueError for a negative volume, or an outer one under the wood's.
        """
        if not 0.0 <= wood_volume_m3 < math.inf:
            raise ValueError(f"wood_volume_m3 must be finite and at least 0, got {wood_volume_m3:g}")
        bark_m3 = wood_volume_m3 * self.bark_volume_pct / 100.0
        if outer_volume_m3 is not None:
            bark_m3 = outer_volume_m3 - wood_volume_m3
            # Two volumes of one mesh may differ in the last digits.
            if not -1e-9 * wood_volume_m3 <= bark_m3 < math.inf:
                raise ValueError(
                    f"outer_volume_m3 must be at least wood_volume_m3, {wood_volume_m3:g}, got {outer_volume_m3:g}"
                )
        return wood_volume_m3 * self.green_density_kg_m3 + max(bark_m3, 0.0) * self.bark_density_kg_m3


def green_thickness_m(quarters: int, allowance_m: float, shrinkage_pct: float) -> float:
    """Return what to saw of a wood that shrinks so, for a slab that is full thickness when dry and flat. [m]."""
    return (quarters_thickness_m(quarters) + allowance_m) / (1.0 - shrinkage_pct / 100.0)


def find_wood(name: str) -> Wood:
    """Return the wood that a name means: any case, any order of words; scientific and trade names too.

    "", "unknown" and "not known" give the wood that nobody knows; "oak", "red oak" and the like one wood for the whole
    group. Raises UnknownSpeciesError (a ValueError) in one line, with the nearest name, or with the choices where a
    name means several that are too unlike.
    """
    asked = name.strip()
    if asked.casefold() in _NOT_KNOWN:
        return unknown_wood()
    match = match_species(asked, _scientific_names())
    wood = known_woods()[match.name] if len(match.woods) == 1 else _group(match.name, match.woods)
    return replace(wood, stands_for=match.stands_for) if match.stands_for else wood


def wider_names(name: str) -> tuple[str, ...]:
    """Return the names of the groups that a wood, or a group, belongs to, the narrowest first."""
    return () if name == UNKNOWN_NAME else groups_of(name, _scientific_names())


def _scientific_names() -> dict[str, str]:
    return {wood.name: wood.scientific_name for wood in known_woods().values()}


@cache
def _group(name: str, woods: tuple[str, ...]) -> Wood:
    """Return one wood for a group: as heavy as its heaviest, bark alike, so that nobody lifts too much."""
    group = tuple(known_woods()[wood] for wood in woods)
    heaviest = max(group, key=lambda wood: wood.green_density_kg_m3)
    heaviest_bark = max(group, key=lambda wood: wood.bark_density_kg_m3)

    def mean(field: str) -> float:
        return sum(float(getattr(wood, field)) for wood in group) / len(group)

    genera = {wood.scientific_name.split(maxsplit=1)[0] for wood in group}
    return replace(
        heaviest,
        name=name,
        scientific_name=f"{genera.pop()} spp." if len(genera) == 1 else "",
        shrinkage_radial_pct=mean("shrinkage_radial_pct"),
        shrinkage_tangential_pct=mean("shrinkage_tangential_pct"),
        shrinkage_volumetric_pct=mean("shrinkage_volumetric_pct"),
        bark_volume_pct=mean("bark_volume_pct"),
        bark_specific_gravity=heaviest_bark.bark_specific_gravity,
        bark_moisture_pct=heaviest_bark.bark_moisture_pct,
        source=f"the heaviest and the mean of {'; '.join(woods)}",
        table="",
        status="memory" if any(wood.status == "memory" for wood in group) else "seen",
        note="a group: as heavy as its heaviest wood, mean shrinkage, mean bark",
        bark_intercept_in=None,
        bark_slope=None,
        bark_ratios=(),
        group=group,
    )


@cache
def known_woods() -> Mapping[str, Wood]:
    """Return the woods of the table by their names, in the table's order."""
    rows = _read("species.csv")
    scientific_names = {row["common_name"].lower(): row["scientific_name"] for row in rows}
    bark = {match_species(row["species"], scientific_names).name: row for row in _read("bark.csv")}
    woods = (_wood(row, bark.get(row["common_name"].lower(), {})) for row in rows)
    return MappingProxyType({wood.name: wood for wood in woods})


@cache
def unknown_wood() -> Wood:
    """Return the wood that stands in where the species is not known.

    As dense as the densest green wood of the table, bark alike, so that nobody lifts too much; it shrinks as
    the table does in the mean; its bark ratio is a usual one (common practice, no source).
    """
    woods = known_woods().values()

    def mean(field: str) -> float:
        return sum(float(getattr(wood, field)) for wood in woods) / len(woods)

    moisture_pct = 100.0 * (_UNKNOWN_GREEN_DENSITY_KG_M3 / (WATER_KG_M3 * _UNKNOWN_GRAVITY_GREEN) - 1.0)
    shrinkage_volumetric_pct = mean("shrinkage_volumetric_pct")
    return Wood(
        name=UNKNOWN_NAME,
        scientific_name="",
        specific_gravity_green=_UNKNOWN_GRAVITY_GREEN,
        green_moisture_pct=moisture_pct,
        shrinkage_radial_pct=mean("shrinkage_radial_pct"),
        shrinkage_tangential_pct=mean("shrinkage_tangential_pct"),
        shrinkage_volumetric_pct=shrinkage_volumetric_pct,
        bark_volume_pct=100.0 * (1.0 / _UNKNOWN_BARK_RATIO**2 - 1.0),
        bark_specific_gravity=_UNKNOWN_GRAVITY_GREEN,
        bark_moisture_pct=moisture_pct,
        specific_gravity_12pct=_UNKNOWN_GRAVITY_GREEN / (1.0 - shrinkage_pct(shrinkage_volumetric_pct, 12.0) / 100.0),
        source="the densest green wood and the mean shrinkage of the table",
        table="",
        status="derived",
        note="species not known: as heavy as any wood of the table, mean shrinkage, a usual bark",
        bark_ratios=(_UNKNOWN_BARK_RATIO,),
        known=False,
    )


_COLUMNS = {
    "green_moisture_pct": "fia_green_mc_avg_pct",
    "bark_volume_pct": "bark_vol_pct_of_wood_vol",
    "bark_specific_gravity": "bark_specific_gravity_green",
    "bark_moisture_pct": "bark_mc_pct",
    "specific_gravity_12pct": "specific_gravity_12pct_fia",
}
"""Columns of species.csv whose fields are named otherwise."""


def _read(name: str) -> list[dict[str, str]]:
    """Return the rows of a data file that lies beside this module."""
    data = pkgutil.get_data(__name__, name)
    if data is None:
        raise FileNotFoundError(f"{name} is missing from the installed package; install it again")
    return list(csv.DictReader(data.decode("utf-8").splitlines()))


def _wood(row: Mapping[str, str], bark: Mapping[str, str]) -> Wood:
    """Return one row of each file as a Wood; an empty bark row where none is listed."""
    numbers = {
        field.name: float(row[_COLUMNS.get(field.name, field.name)]) for field in fields(Wood) if field.type is float
    }
    ratios = (bark.get(f"ratio_{region}", "") for region in ("northeast", "central_states", "lake_states"))
    intercept, slope = bark.get("intercept_in", ""), bark.get("slope", "")
    return Wood(
        name=row["common_name"].lower(),
        scientific_name=row["scientific_name"],
        source=row["source"],
        table=row["table"],
        status=row["status"],
        note=row["note"],
        bark_intercept_in=float(intercept) if intercept else None,
        bark_slope=float(slope) if slope else None,
        bark_ratios=tuple(float(ratio) for ratio in ratios if ratio),
        known=True,
        group=(),
        stands_for="",
        **numbers,
    )
