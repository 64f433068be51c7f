"""What a log is planned by: the log, the mill, the prices, and all that is made of them once for every lay."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from optimizer.bed.bodies import LogBodies
from optimizer.bed.bolts import Bolt, BoltWorth
from optimizer.bed.buck_cuts import BuckCut
from optimizer.bed.bucking import buck, kept_zones
from optimizer.bed.lay import Lay
from optimizer.bed.marks import flaw_zones, metal_rods
from optimizer.bed.pricing import Priced, Pricer
from optimizer.bed.sawn_layers import kept_out_m
from optimizer.bed.stretch import stretch_cuts
from optimizer.bed.zones import Zone, feather
from optimizer.documents.mill import Metal, Mill
from optimizer.documents.plan import Mark
from optimizer.documents.prices import MenuEntry, PriceBook
from optimizer.standing.choice import supported
from optimizer.standing.rolled import Rolled, Supports
from optimizer.standing.standing import Standing, standing_of
from optimizer.standing.supports import SupportRules
from optimizer.stations.chords import reach_on_mesh
from optimizer.stations.lay_table import BoolArray, HeartStrip, LayTable, lay_table, lowest_row, row_count
from optimizer.stations.passes import WASTE, Cuts
from optimizer.stations.rules import Rules, Wanted
from optimizer.stations.stations import Stations, stations_of
from optimizer.stations.terms import Terms, terms_for
from scans.log import FloatArray, Log

COARSE_SPACING_M = 0.035
COARSE_THINNED_M = 0.0001
FINE_SPACING_M = 0.005
"""How far apart stations lie for scouting and for the winners, and how far an outline may be off where points of it are
left out (our own rules, no source)."""
ASSUMED_FIRST_BUNK_M = 0.1524
ASSUMED_BUNK_SPACING_M = 0.6096
"""6 in and 2 ft, where the mill does not say (common practice, no source)."""


def support_rules(mill: Mill) -> SupportRules:
    """Return what a mill puts under a log; where its bunks lie is assumed where it does not say."""
    return SupportRules(
        first_bunk_m=mill.first_bunk_m or ASSUMED_FIRST_BUNK_M,
        bunk_spacing_m=mill.bunk_spacing_m or ASSUMED_BUNK_SPACING_M,
        max_shim_m=mill.max_shim_m,
        max_prop_m=mill.max_prop_m,
        clamps_hold=mill.clamps_hold,
    )


@dataclass(frozen=True)
class SetUp:
    """What it takes to set a log for a lay: how many shims and props, and the money for them, for a turn and a log.

    Hidden metal costs by the log, and so is counted here.
    """

    placed: int
    cost: float


@dataclass(frozen=True)
class SetAsked:
    """A set that plans must have: at least so many slabs of a thickness."""

    count: int
    quarters: int


@dataclass(frozen=True, eq=False)
class Problem:
    """A log on a mill at given prices: what every lay is priced by.

    whole : of a bucked log, the log as it came, which has the marks and the forks. cuts : how it is bucked.
    bolts : what was cut off, and what it brings.
    given_zones, given_metal : of a bolt that was cut off, what lies in it of the log's; None: as the marks say.
    asked : a set that plans must have, of a thickness on the menu.
    """

    log: Log
    mill: Mill
    prices: PriceBook
    menu: tuple[MenuEntry, ...]
    end_trim_m: tuple[float, float]
    marks: tuple[Mark, ...] = ()
    whole: "Problem | None" = None
    cuts: tuple[BuckCut, ...] = ()
    given_zones: tuple[Zone, ...] | None = None
    given_metal: tuple[Zone, ...] | None = None
    bolts: tuple[BoltWorth, ...] = ()
    asked: SetAsked | None = None
    _standings: dict[tuple[float, ...], Standing] = field(default_factory=dict, init=False)

    def stretch(self, from_m: float, to_m: float) -> "Problem":
        """Return the same for the part of the log between two places along it, crosscut. [m]."""
        return self.bucked(stretch_cuts(self.log, from_m, to_m))

    def bucked(self, cuts: Sequence[BuckCut]) -> "Problem":
        """Return the same for what stays of the log when it is bucked, in the same frame.

        Raises BuckError for a cut that cannot be.
        """
        return self.bucked_to(buck(self.log, cuts).log, cuts)

    def bucked_to(self, log: Log, cuts: Sequence[BuckCut]) -> "Problem":
        """Return the same for what cuts leave of the log; log : that, in the same frame."""
        if not cuts:
            return replace(self, log=log)
        return replace(
            self,
            log=log,
            whole=self if self.whole is None else self.whole,
            cuts=(*self.cuts, *cuts),
            given_zones=None,
            given_metal=None,
        )

    @property
    def bolts_worth(self) -> float:
        """What all that was cut off brings."""
        return sum(bolt.worth for bolt in self.bolts)

    @property
    def buck_cost(self) -> float:
        """What the cuts cost."""
        return self.mill.money(self.mill.pace.minutes_per_buck_cut * len(self.cuts))

    def of_bolt(self, bolt: Bolt) -> "Problem":
        """Return the same for a bolt that was cut off, in its own frame."""
        return replace(
            self,
            log=bolt.log,
            # The chance of hidden metal is a whole log's, and is counted with what stays of it.
            mill=self.mill.model_copy(update={"metal": Metal()}),
            marks=(),
            whole=None,
            cuts=(),
            bolts=(),
            asked=None,
            given_zones=bolt.zones(self.zones),
            given_metal=bolt.zones(self.metal),
        )

    def on(self, **changes: float | None) -> "Problem":
        """Return the same on a mill that is the same but for some fields."""
        return replace(self, mill=self.mill.changed(**changes))

    @cached_property
    def zones(self) -> tuple[Zone, ...]:
        """Marks that cost, and the feather if it brings anything."""
        if self.given_zones is not None:
            return self.given_zones
        if self.whole is not None:
            return kept_zones(self.whole.zones, self.whole.log.hearts, self.cuts)
        found = flaw_zones(self.log, self.marks, self.prices.deduct)
        if self.prices.figure.feather_per_board_foot > 0.0:
            found += tuple(feather(fork) for fork in self.log.forks)
        return found

    @cached_property
    def metal(self) -> tuple[Zone, ...]:
        """Rods of metal."""
        if self.given_metal is not None:
            return self.given_metal
        if self.whole is not None:
            return kept_zones(self.whole.metal, self.whole.log.hearts, self.cuts)
        return metal_rods(self.log, self.marks)

    @cached_property
    def heart(self) -> HeartStrip:
        """How wide the heart strip is and what it costs."""
        deduct = self.prices.deduct
        return HeartStrip(self.log.heart_radius_m, deduct.heart, deduct.slab_with_heart)

    def forbidden_m(self, lay: Lay) -> list[tuple[float, float]]:
        """Return the bed heights that no blade may stand between: metal and its keep-out. [m]."""
        return [kept_out_m(lay.to_bed(rod.corners_m)[:, 2], self.mill.metal_keep_out_m) for rod in self.metal]

    @cached_property
    def supports(self) -> Supports:
        """What the log can rest on."""
        return Supports(self.log, support_rules(self.mill))

    @cached_property
    def bodies(self) -> LogBodies:
        """The log's solids."""
        return LogBodies(self.log, self.end_trim_m)

    @cached_property
    def pricer(self) -> Pricer:
        """What prices a plan on the mesh."""
        return Pricer(self.bodies, self.mill, self.prices, self.zones)

    @cached_property
    def terms(self) -> Terms:
        """The search's terms, margins included."""
        return terms_for(self.mill, self.prices, self.menu)

    @cached_property
    def rules(self) -> Rules:
        """What holds for all layers of the log together."""
        wanted = None
        if self.asked is not None:
            entry = next(k for k, entry in enumerate(self.menu) if entry.quarters == self.asked.quarters)
            wanted = Wanted(entry, self.asked.count)
        return Rules(self.prices.pairs.premium, self.prices.money.thicknesses, wanted=wanted)

    def gives_set(self, priced: Priced) -> bool:
        """Tell whether a plan has the set that was asked for, if there is one."""
        asked = self.asked
        return asked is None or sum(slab.quarters == asked.quarters for slab in priced.slabs) >= asked.count

    @cached_property
    def coarse(self) -> Stations:
        """Stations for scouting."""
        return stations_of(self.log, self.end_trim_m, COARSE_SPACING_M, self.zones, COARSE_THINNED_M)

    @cached_property
    def fine(self) -> Stations:
        """Stations for the winners."""
        return stations_of(self.log, self.end_trim_m, FINE_SPACING_M, self.zones)

    def tilt_range_deg(self, rolled: Rolled) -> tuple[float, float] | None:
        """Return the tilts that posts, shims and props allow at a roll; None where there is none. [deg]."""
        return rolled.tilt_range_deg if self.fits_between_posts(rolled) else None

    def fits_between_posts(self, rolled: Rolled) -> bool:
        """Tell whether the log fits between the posts at a roll, whatever its tilt."""
        posts_m = self.mill.between_posts_m
        return posts_m is None or rolled.width_m <= posts_m

    def set_up(self, rolled: Rolled, tilt_deg: float) -> SetUp:
        """Return what it takes to set the log so, supports counted at stations."""
        placed = rolled.placed(tilt_deg) if self.mill.pace.minutes_per_support > 0.0 else 0
        return self.set_up_with(rolled.roll_deg, placed)

    def set_up_with(self, roll_deg: float, placed: int) -> SetUp:
        """Return what it takes to set the log at a roll with so many shims and props."""
        pace = self.mill.pace
        minutes = pace.minutes_per_log + pace.minutes_per_support * placed
        minutes += pace.minutes_per_roll if roll_deg % 360.0 != 0.0 else 0.0
        return SetUp(placed, self.mill.money(minutes) + self.mill.metal.cost_per_log)

    def standing(self, priced: Priced) -> Standing:
        """Tell how the log stands through the passes of a plan, from the solid itself.

        Where slabs stay on until the last pass, how it lies before the first is all that counts.
        """
        before = [p.row for p in priced.passes if not p.flipped]
        after = [p.row for p in priced.passes if p.flipped]
        if self.mill.slabs_stay_on and not after:
            before = []
        key = (priced.lay.roll_deg, priced.lay.tilt_deg, *before, np.inf, *after)
        found = self._standings.get(key)
        if found is None:
            step_m = self.mill.height_step_m
            found = standing_of(
                self.bodies.outer,
                priced.lay.log_to_bed,
                [row * step_m for row in before],
                self.supports.rules,
                [row * step_m for row in after] if after else None,
            )
            self._standings[key] = found
        return found

    def exact_reach_m(self, lay: Lay, height_m: float) -> FloatArray:
        """Return the reach of each row from the mesh itself. [m]."""
        outer, step_m = self.log.outer, self.mill.height_step_m
        rows, row_zero_m = row_count(height_m, self.terms), lowest_row(self.terms) * step_m
        return reach_on_mesh(outer.vertices_m, outer.faces, lay.log_to_bed, rows, row_zero_m, step_m)

    def table(
        self, stations: Stations, rolled: Rolled, tilt_deg: float, *, exact: bool = False, must_stand: bool = True
    ) -> LayTable:
        """Meet every blade height of a lay with the wood; `exact` takes the reach from the mesh.

        Where all of the log fits through the throat no reach is looked for.
        must_stand : whether a pass is possible only where the log stands before the first, and the rest after it.
        """
        lay, height_m = rolled.lay(tilt_deg), rolled.height_m(tilt_deg)
        reach_m = None
        if rolled.width_m <= self.terms.widest_reach_m:
            reach_m = np.full(row_count(height_m, self.terms), rolled.width_m)
        elif exact:
            reach_m = self.exact_reach_m(lay, height_m)
        table = lay_table(stations, lay, height_m, self.terms, self.heart, reach_m, self.forbidden_m(lay))
        return table._replace(possible=table.possible & self._stands(rolled, tilt_deg, table)) if must_stand else table

    def _stands(self, rolled: Rolled, tilt_deg: float, table: LayTable) -> BoolArray:
        """Return (rows,) whether the log stands before the first pass, and what is left of it after one there."""
        rows = table.lowest_row + np.arange(len(table.possible))
        if self.mill.slabs_stay_on or not rolled.stands(tilt_deg):
            return np.full(len(rows), rolled.stands(tilt_deg))
        return rolled.stands_after(tilt_deg, np.asarray(self.mill.height_step_m * rows, dtype=np.float64))

    def price(self, lay: Lay, cuts: Cuts) -> Priced:
        """Price cuts on the mesh."""
        return self.price_rows(
            lay,
            cuts.rows,
            self.menu_entries(cuts.entries),
            cuts.flipped_rows,
            self.menu_entries(cuts.flipped_entries),
        )

    def price_rows(
        self,
        lay: Lay,
        rows: Sequence[int],
        entries: Sequence[MenuEntry | None],
        flipped_rows: Sequence[int] = (),
        flipped_entries: Sequence[MenuEntry | None] = (),
    ) -> Priced:
        """Price passes on the mesh (see Pricer.price), and what it takes to set the log so."""
        priced = self.pricer.price(lay, rows, entries, flipped_rows, flipped_entries)
        rolled = self.supports.turned(lay.roll_deg)
        priced = replace(
            priced,
            gaps_m=rolled.gaps_m(lay.tilt_deg),
            buck_cuts=self.cuts,
            bolts=self.bolts,
            sawing_cost=priced.sawing_cost + self.buck_cost,
        )
        return self._set_up(priced, self.set_up(rolled, lay.tilt_deg))

    def _set_up(self, priced: Priced, set_up: SetUp) -> Priced:
        """Return the same with what it takes to set the log, in place of what was taken for that before."""
        sawing_cost = priced.sawing_cost - priced.set_up_cost + set_up.cost
        return replace(priced, sawing_cost=sawing_cost, set_up_cost=set_up.cost, placed=set_up.placed)

    def checked(self, priced: Priced) -> Priced | None:
        """Return a plan with its supports as the solid itself asks for them; None where it does not stand so."""
        if priced.is_checked:
            return priced
        standing = self.standing(priced)
        return self.as_it_stands(priced) if standing.is_allowed else None

    def as_it_stands(self, priced: Priced) -> Priced:
        """Return a plan with its supports as the solid itself asks for them, whether it stands or not."""
        held = supported(self.standing(priced), 1.0)
        placed = sum(one.support.kind != "bears" for one in (*held.first, *held.flipped))
        return replace(self._set_up(priced, self.set_up_with(priced.lay.roll_deg, placed)), is_checked=True)

    def menu_entries(self, entries: Iterable[int]) -> tuple[MenuEntry | None, ...]:
        """Return what each layer is meant for; None for waste."""
        return tuple(None if entry == WASTE else self.menu[entry] for entry in entries)
