"""What a log is planned by: the log, the mill, the prices, and all that is made of them once for every lay."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from optimizer.bed.bodies import LogBodies
from optimizer.bed.bolts import Bolt
from optimizer.bed.buck_cuts import BuckCut
from optimizer.bed.bucking import buck, kept_zones
from optimizer.bed.cut_back import CutBack
from optimizer.bed.lay import Lay, Rolled, Supports, supports_of
from optimizer.bed.marks import flaw_zones, metal_rods
from optimizer.bed.pricing import Priced, Pricer
from optimizer.bed.sawn_layers import kept_out_m
from optimizer.bed.stretch import stretch_cuts
from optimizer.bed.zones import Zone, feather
from optimizer.documents.mill import Mill
from optimizer.documents.plan import Mark
from optimizer.documents.prices import MenuEntry, PriceBook
from optimizer.stations.chords import reach_on_mesh
from optimizer.stations.lay_table import HeartStrip, LayTable, lay_table, lowest_row, row_count
from optimizer.stations.passes import WASTE, Cuts
from optimizer.stations.stations import Stations, stations_of
from optimizer.stations.terms import Terms, terms_for
from scans.log import FloatArray, Log

COARSE_SPACING_M = 0.02
COARSE_THINNED_M = 0.0001
FINE_SPACING_M = 0.005
"""How far apart stations lie for scouting and for the winners, and how far an outline may be off where points of it are
left out (our own rules, no source)."""


@dataclass(frozen=True, eq=False)
class Problem:
    """A log on a mill at given prices: what every lay is priced by.

    whole : of a bucked log, the log as it came, which has the marks and the forks. cuts : how it is bucked.
    given_zones, given_metal : of a bolt that was cut off, what lies in it of the log's; None: as the marks say.
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

    def stretch(self, from_m: float, to_m: float) -> "Problem":
        """Return the same for the part of the log between two places along it, crosscut. [m]."""
        return self.bucked(stretch_cuts(self.log, from_m, to_m))

    def bucked(self, cuts: Sequence[BuckCut], *, quick: bool = False) -> "Problem":
        """Return the same for what stays of the log when it is bucked, in the same frame.

        quick : cut it back without new faces, for scouting (see cut_back). Raises BuckError for a cut that cannot be.
        """
        log = CutBack.of(self.log, cuts).made_on(self.log) if quick else buck(self.log, cuts).log
        return replace(
            self,
            log=log,
            whole=self if self.whole is None else self.whole,
            cuts=(*self.cuts, *cuts),
            given_zones=None,
            given_metal=None,
        )

    def of_bolt(self, bolt: Bolt) -> "Problem":
        """Return the same for a bolt that was cut off, in its own frame."""
        return replace(
            self,
            log=bolt.log,
            marks=(),
            whole=None,
            cuts=(),
            given_zones=bolt.zones(self.zones),
            given_metal=bolt.zones(self.metal),
        )

    @cached_property
    def zones(self) -> tuple[Zone, ...]:
        """Marks that cost, and the feather if it brings anything."""
        if self.given_zones is not None:
            return self.given_zones
        if self.whole is not None:
            return kept_zones(self.whole.zones, self.whole.log, self.cuts)
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
            return kept_zones(self.whole.metal, self.whole.log, self.cuts)
        return metal_rods(self.log, self.marks)

    @cached_property
    def heart(self) -> HeartStrip:
        """How wide the heart strip is and what it costs."""
        return HeartStrip(self.log.heart_radius_m, self.prices.deduct.heart)

    def forbidden_m(self, lay: Lay) -> list[tuple[float, float]]:
        """Return the bed heights that no blade may stand between: metal and its keep-out. [m]."""
        return [kept_out_m(lay.to_bed(rod.corners_m)[:, 2], self.mill.metal_keep_out_m) for rod in self.metal]

    @cached_property
    def supports(self) -> Supports:
        """What the log can rest on."""
        return supports_of(self.log)

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
    def coarse(self) -> Stations:
        """Stations for scouting."""
        return stations_of(self.log, self.end_trim_m, COARSE_SPACING_M, self.zones, COARSE_THINNED_M)

    @cached_property
    def fine(self) -> Stations:
        """Stations for the winners."""
        return stations_of(self.log, self.end_trim_m, FINE_SPACING_M, self.zones)

    def tilt_range_deg(self, rolled: Rolled) -> tuple[float, float] | None:
        """Return the tilts that posts and shims allow at a roll; None where there is none. [deg]."""
        posts_m = self.mill.between_posts_m
        if posts_m is not None and rolled.width_m > posts_m:
            return None
        return rolled.tilt_range_deg(self.mill.max_shim_m)

    def exact_reach_m(self, lay: Lay, height_m: float) -> FloatArray:
        """Return the reach of each row from the mesh itself. [m]."""
        outer, step_m = self.log.outer, self.mill.height_step_m
        rows, row_zero_m = row_count(height_m, self.terms), lowest_row(self.terms) * step_m
        return reach_on_mesh(outer.vertices_m, outer.faces, lay.log_to_bed, rows, row_zero_m, step_m)

    def table(self, stations: Stations, rolled: Rolled, tilt_deg: float, *, exact: bool = False) -> LayTable:
        """Meet every blade height of a lay with the wood; `exact` takes the reach from the mesh.

        Where all of the log fits through the throat it is taken at the stations all the same.
        """
        lay, height_m = rolled.lay(tilt_deg), rolled.height_m(tilt_deg)
        exact = exact and rolled.width_m > self.terms.widest_reach_m
        reach_m = self.exact_reach_m(lay, height_m) if exact else None
        return lay_table(stations, lay, height_m, self.terms, self.heart, reach_m, self.forbidden_m(lay))

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
        """Price passes on the mesh (see Pricer.price), with the shims that the lay asks for."""
        priced = self.pricer.price(lay, rows, entries, flipped_rows, flipped_entries)
        butt, top = self.supports.turned(lay.roll_deg).gaps(lay.tilt_deg)
        return replace(priced, gaps_m=(butt.height_m, top.height_m))

    def menu_entries(self, entries: Iterable[int]) -> tuple[MenuEntry | None, ...]:
        """Return what each layer is meant for; None for waste."""
        return tuple(None if entry == WASTE else self.menu[entry] for entry in entries)
