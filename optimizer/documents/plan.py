"""The plan document, `pithline.plan/1.0`: all that is known of a log and of the ways to saw it.

Lengths in metres, masses in kilograms, angles in degrees; what is told in words holds its quantities in braces, as
`optimizer/quantities.py` says. Faces, outlines and heights are in the bed frame: x along the bed, z = 0 on top of the
bunks, z up, y left. What is not built yet is null. All of a plan can be checked from the log's mesh and this document
alone.
"""

from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PlainSerializer,
    ValidationError,
    model_validator,
)

from optimizer.documents.mill import Mill
from optimizer.documents.prices import PriceBook
from optimizer.documents.typed import one_line
from scans.messages import Note, kept_note

SCHEMA = "pithline.plan/1.0"

Exact = Annotated[float, PlainSerializer(lambda x: round(x, 9), return_type=float)]
AsWritten = Annotated[Exact, AfterValidator(lambda x: round(x, 9))]
"""Of what is planned on: from one that was written and read again the plan is the same."""
Short = Annotated[float, PlainSerializer(lambda x: round(x, 5), return_type=float)]
"""Coordinates of outlines: to a hundredth of a millimetre, so that the document stays small."""
Point2 = tuple[Short, Short]
Point3 = tuple[Short, Short, Short]
Ring2 = tuple[Point2, ...]
Matrix4 = Annotated[tuple[tuple[float, float, float, float], ...], Field(min_length=4, max_length=4)]


MarkKind = Literal["metal", "knot", "rot", "crack", "bark_pocket", "pith"]
"""What a mark can be; a bark pocket is bark grown into the wood."""


class PlanError(ValueError):
    """A text that is no plan document."""


class Document(BaseModel):
    """A part of the plan document. Frozen; unknown fields are passed over, as a newer version may have them."""

    model_config = ConfigDict(extra="ignore", frozen=True, serialize_by_alias=True, populate_by_name=True)


class Source(Document):
    """Where the log came from."""

    kind: Literal["sheet", "solid", "scan"] = Field(description="A log sheet, a closed mesh, or a scan.")
    sha256: str = Field(description="Hash of the file that was read; of several, the hash of their hashes in order.")


class LogRules(Document):
    """Board feet that log buyers would quote: small end inside bark to the whole inch, whole feet after trim."""

    doyle: float | None = Field(description="Doyle. [board feet]")
    scribner_c: float | None = Field(description="Scribner Decimal C; null beyond its table. [board feet]")
    international: float | None = Field(description="International 1/4-inch. [board feet]")
    diameter_in: int = Field(description="Small-end diameter inside bark that they were read at. [in]")
    length_ft: int = Field(description="Nominal length that they were read at. [ft]")


class ForkFound(Document):
    """Where the stem divides; log frame."""

    crotch_m: Point3 = Field(description="Where the bark parts, on the fork's middle line. [m]")
    normal: Point3 = Field(description="Unit normal of the plane that holds the hearts of two limbs.")
    direction: Point3 = Field(description="Unit vector of the fork's middle line, towards the limbs.")
    diameter_m: Exact = Field(description="The stem's diameter under the fork. [m]")
    below_m: Exact = Field(description="How far the figure zone reaches below the crotch. [m]")
    above_m: Exact = Field(description="How far the figure zone reaches above the crotch. [m]")


class Mark(Document):
    """A place on the log that the user pointed out."""

    id: str = Field(description="Names the mark within the log.")
    kind: MarkKind = Field(description="What is there.")
    x_m: AsWritten = Field(description="Log frame. [m]")
    y_m: AsWritten = Field(description="Log frame. [m]")
    z_m: AsWritten = Field(description="Log frame. [m]")
    radius_m: AsWritten = Field(description="Radius of the rod. [m]")
    depth_m: AsWritten = Field(description="How far it goes inwards. [m]")


class CrossSection(Document):
    """The log cut square to its axis."""

    x_m: Exact = Field(description="Log frame; those at the ends lie 1 mm inside. [m]")
    outer_m: tuple[Ring2, ...] = Field(description="Rings (y, z) of the outer surface. [m]")
    wood_m: tuple[Ring2, ...] = Field(description="Rings (y, z) of the wood. [m]")


class LogFound(Document):
    """What the log is."""

    name: str = Field(description="What the user calls it.")
    source: Source = Field(description="Where it came from.")
    species: str = Field(description="The table's name in lower case, or unknown.")
    bark: bool = Field(description="Whether the bark is on.")
    bark_thickness_m: Exact = Field(description="Mean thickness of the bark; 0 without. [m]")
    length_m: Exact = Field(description="Extent of the outer surface along the log. [m]")
    end_trim_m: tuple[Exact, Exact] = Field(description="Lost at the butt and at the top. [m]")
    volume_m3: Exact = Field(description="Wood alone. [m3]")
    mass_kg: Exact = Field(description="Green, bark included. [kg]")
    butt_diameter_m: Exact = Field(
        description="Of a circle as large as the largest part of the wood's section at the trim; where the end is "
        "ragged, the median over the next 0.3 m. [m]"
    )
    top_diameter_m: Exact = Field(description="The same at the top end: of a forked log, its thickest limb. [m]")
    max_width_m: Exact = Field(description="Widest across the outer surface, over all rolls. [m]")
    log_rules: LogRules = Field(description="Board feet by the three rules that buyers quote.")
    scan_to_log: Matrix4 = Field(description="From the scan frame to the log frame.")
    hearts: tuple[tuple[Point3, ...], ...] = Field(description="Lines of the pith: the stem's, then each limb's. [m]")
    heart_radius_m: Exact = Field(description="Radius of the heart strip. [m]")
    forks: tuple[ForkFound, ...] = Field(description="Where the stem divides.")
    marks: tuple[Mark, ...] = Field(description="What the user pointed out.")
    sections: tuple[CrossSection, ...] = Field(description="At both ends and every 0.25 m.")
    not_seen_share: float | None = Field(None, description="Share of the surface that the scan did not see.")
    surface_error_m: float | None = Field(None, description="How far off the surface may be. [m]")
    cost: Exact = Field(0.0, description="What the log cost.")
    haul: Exact = Field(0.0, description="What it costs to bring the log to the mill.")
    fee_received: Exact = Field(0.0, description="What the mill's owner is paid to take the log away.")


class SupportPlaced(Document):
    """Where the log bears on a bunk, a shim or a prop; bed frame, after a flip the second one."""

    flipped: bool = Field(default=False, description="Whether it holds what is left after the flip.")
    x_m: Exact = Field(description="The bunk. [m]")
    y_m: Exact | None = Field(
        description="Where the log touches it; null in plans from before they knew their supports. [m]"
    )
    member: str = Field(description="What of the log it holds: stem, or limb_1, limb_2 and so on.")
    kind: Literal["bears", "shim", "prop"] = Field(description="Whether it bears on the bunk, or what fills the gap.")
    height_m: Exact = Field(description="The gap that it fills. [m]")
    load_kg: float | None = Field(
        None, description="What it carries before the first pass, or right after the flip; null where none balance."
    )


class Holding(Document):
    """A stack of blocks, taller than any prop of the mill, with which a log would stand."""

    x_m: Exact = Field(description="The bunk. [m]")
    y_m: Exact = Field(description="Where it would touch the log. [m]")
    height_m: Exact = Field(description="How tall it would have to be. [m]")


class Overturning(Document):
    """How a log that does not stand turns over; bed frame, after a flip the second one."""

    flipped: bool = Field(description="Whether it does so after the flip.")
    blade_height_m: float | None = Field(description="Once the pass at this height is made; null before the first. [m]")
    outside_m: float | None = Field(
        description="How far its mass centre lies outside what holds it; below 0 inside, but nearer the edge than the "
        "margin. Null where nothing holds a part that a pass cuts off. [m]"
    )
    toward: tuple[float, float] | None = Field(description="Which way it falls, unit vector (x, y) on the bed.")
    moment_n_m: float | None = Field(description="What turns it over. [N m]")
    holding: Holding | None = Field(None, description="The lowest stack that would hold it; null where no single one.")


class HeartHeight(Document):
    """How high a heart lies."""

    end: str = Field(description="butt, top, or limb_1, limb_2 and so on.")
    height_m: Exact = Field(description="Above the bunks, at that end. [m]")


class BuckCutMade(Document):
    """Where the log is bucked; log frame."""

    member: str = Field(description="What is cut: butt, stem, or limb_1, limb_2 and so on, in the order of the hearts.")
    at_m: Exact = Field(description="From the butt end; of a limb along its heart from where the hearts meet. [m]")
    from_butt_m: Exact = Field(description="From the butt end, by tape along the stem's and the limb's heart. [m]")
    point_m: Point3 = Field(description="On the cut. [m]")
    normal: Point3 = Field(description="Unit vector towards what is cut off.")


class BoltFound(Document):
    """A length that is cut off."""

    id: str = Field(description="Names the bolt within the plan.")
    member: str = Field(description="What it is of, as of the cut.")
    length_m: Exact = Field(description="Along it. [m]")
    mass_kg: Exact = Field(description="Green, bark too. [kg]")
    net: float | None = Field(description="Of sawing it as a log of its own, roughly; null: no slab of it pays.")
    worth: Exact = Field(description="What it brings in the plan's net: that, or what it sells for as firewood.")


class FirstFace(Document):
    """The face that the first pass opens: its largest piece, in wood."""

    blade_height_m: Exact = Field(description="Above the bunks. [m]")
    max_width_m: Exact = Field(description="Widest wood across it. [m]")
    length_m: Exact = Field(description="Along the bed. [m]")
    max_width_m_p10: float | None = Field(None, description="One in ten faces is narrower. [m]")
    max_width_m_p90: float | None = Field(None, description="One in ten faces is wider. [m]")
    length_m_p10: float | None = Field(None, description="One in ten faces is shorter. [m]")
    length_m_p90: float | None = Field(None, description="One in ten faces is longer. [m]")


class Pass(Document):
    """One travel of the blade."""

    order: int = Field(description="1 is the first face.")
    blade_height_m: Exact = Field(description="The bottom of the kerf, above the bunks. [m]")
    flipped: bool = Field(default=False, description="Whether it is made after the flip.")
    reach_m: Exact = Field(description="How far across it the blade spans, bark and gaps included. [m]")
    cut_length_m: Exact = Field(description="From the first to the last wood along the bed. [m]")
    cut_area_m2: Exact = Field(description="Wood sawn through. [m2]")
    minutes: Exact = Field(description="What it takes.")
    face_width_m: Exact | None = Field(
        None, description="Widest place of the largest piece of wood on its face; null in plans from before. [m]"
    )
    face_length_m: Exact | None = Field(
        None, description="Length of that piece along the bed; null in plans from before. [m]"
    )


PricedBy = Literal["board_foot", "square_foot", "slab"]
"""The forms of price."""


class RippedPart(Document):
    """What one side of a slab gives that is ripped along its heart, on both sides of the heart strip."""

    side: Literal["left", "right"] = Field(description="Of the heart, for someone at the butt looking along the log.")
    outline_m: tuple[Ring2, ...] = Field(description="The wood on both faces that it is cut from: rings (x, y). [m]")
    span_m: tuple[Exact, Exact] = Field(description="Where it is cut to length, in bed x. [m]")
    tally_width_m: Exact = Field(description="Its width as the buyer counts it. [m]")
    tally_length_m: Exact = Field(description="Its length as the buyer counts it. [m]")
    board_feet: Exact = Field(description="As the buyer counts it.")
    price: Exact = Field(description="What it sells for.")
    priced_by: PricedBy = Field(description="The form of price that pays most for it.")


class Slab(Document):
    """A slab sold."""

    id: str = Field(description='The layer\'s number, and a letter from the left where it gives several: "3", "3a".')
    layer: int = Field(description="From 1 in sawing order.")
    piece: int = Field(description="Which piece of the layer, from 1 at the left.")
    flipped: bool = Field(default=False, description="Whether it is sawn after the flip.")
    upper_face_m: Exact = Field(description="Height of its upper face above the bunks. [m]")
    lower_face_m: Exact = Field(description="Height of its lower face above the bunks. [m]")
    green_thickness_m: Exact = Field(description="As sawn. [m]")
    quarters: int = Field(description="The thickness that it is sold as, in quarters of an inch.")
    outline_m: tuple[Ring2, ...] = Field(
        description="The whole piece that it comes from, in plan: rings (x, y), open, the outer one anticlockwise, "
        "holes after. The slab sold is its part within the span. [m]"
    )
    span_m: tuple[Exact, Exact] = Field(description="Where it is cut to length, in bed x. [m]")
    length_m: Exact = Field(description="Of the span. [m]")
    mean_width_m: Exact = Field(description="Area over length. [m]")
    min_width_m: Exact = Field(description="Narrowest within the span. [m]")
    max_width_m: Exact = Field(description="Widest within the span, beyond the buyer's maximum too. [m]")
    area_m2: Exact = Field(
        description="Sum of the width of wood on both faces, green, up to the buyer's maximum, along the span. [m2]"
    )
    tally_width_m: float | None = Field(
        None, description="Width as the buyer counts it; null in plans from before slabs were counted so. [m]"
    )
    tally_length_m: float | None = Field(
        None, description="Length as the buyer counts it; null in plans from before slabs were counted so. [m]"
    )
    board_feet: Exact = Field(
        description="Area as the buyer counts it, in ft2 x quarters / 4; of a ripped slab the sum of its parts."
    )
    volume_m3: Exact = Field(description="Wood of the whole solid piece, wane and ends included. [m3]")
    mass_kg: Exact = Field(description="Of that piece, green, mean of the species; bark included. [kg]")
    mass_centre_m: Point3 = Field(description="Bark included; bed frame. [m]")
    heart_area_m2: Exact = Field(description="Heart strip within the span, seen in plan. [m2]")
    heart_m: tuple[Ring2, ...] = Field(description="Its rings. [m]")
    marked_area_m2: float | None = Field(None, description="Marked flaws within the span. [m2]")
    marked_m: tuple[Ring2, ...] | None = Field(None, description="Their rings. [m]")
    figure_area_m2: float | None = Field(
        None, description="Figured area within the span: the mean of what the two faces show. [m2]"
    )
    figure_m: tuple[Ring2, ...] | None = Field(None, description="Rings of what the upper face shows of it. [m]")
    figure_below_m: tuple[Ring2, ...] | None = Field(None, description="Rings of what the lower face shows of it. [m]")
    cup_m: float | None = Field(
        None, description="How far it may cup in drying to the book's moisture, unrestrained; null: not known. [m]"
    )
    finish_m: float | None = Field(
        None, description="Thickness that it likely has once it is dry and flattened; null: not known. [m]"
    )
    saw_for_full_m: float | None = Field(
        None,
        description="Green thickness to saw for the full one that it is sold as; null where it is not over 1/8 in "
        "short of it. [m]",
    )
    price: Exact = Field(description="What it sells for; of a ripped slab the sum of its parts.")
    priced_by: PricedBy = Field(
        "board_foot", description="The form of price that pays most for it, whole and without flaws."
    )
    sound_price: float | None = Field(
        None,
        description="What it would sell for whole, without flaws and figure; null in plans from before they told it.",
    )
    ripped: tuple[RippedPart, ...] = Field(
        (), description="Its parts from the left, where it is sold ripped along the heart; empty where it stays whole."
    )


class Waste(Document):
    """What a layer holds that is not sold: pieces that give no slab."""

    layer: int = Field(description="From 1 in sawing order.")
    volume_m3: Exact = Field(description="Wood. [m3]")
    mass_kg: Exact = Field(description="Green, bark included. [kg]")
    quarters: int | None = Field(
        None,
        description="Thickness that the layer is sawn for though it gives no slab on the log as given (it may on a "
        "possible log); none where it gives one, or is not sawn for one.",
    )


class Offcut(Document):
    """The rounded piece above the first face, or the last piece on the bed."""

    where: Literal["first", "last", "flipped"] = Field(description="Above the first pass, below the last.")
    volume_m3: Exact = Field(description="Wood. [m3]")
    mass_kg: Exact = Field(description="Green, bark included. [kg]")


class Plan(Document):
    """One way to lay and saw the log."""

    rank: int = Field(description="1 is worth the most; 0 for the plain way and hearts level.")
    roll_deg: Exact = Field(description="Turn about the log's axis, clockwise seen from the butt. [deg]")
    tilt_deg: Exact = Field(description="Positive raises the top end. [deg]")
    log_to_bed: Matrix4 = Field(description="From the log frame to the bed frame; rigid.")
    flipped_log_to_bed: Matrix4 | None = Field(None, description="The same after the flip.")
    rests_by_itself: bool | None = Field(None, description="Whether the log stays as it lies.")
    gaps_m: tuple[Exact, Exact] | None = Field(
        None, description="The lowest gap over the bunks of the butt third and of the top third. [m]"
    )
    supports: tuple[SupportPlaced, ...] = Field((), description="The fewest that hold it, from the butt end.")
    stands_by_m: float | None = Field(
        None,
        description="The least, over all passes, of how far a mass centre lies inside what holds it; below 0 outside. "
        "Null where nothing holds a part that a pass cuts off. [m]",
    )
    overturning: Overturning | None = Field(None, description="How it turns over; null where it stands.")
    mass_centre_m: Point3 | None = Field(
        None,
        description="Of all that lies on the bed before the first pass, bark included; bed frame. Null in plans from "
        "before they knew it. [m]",
    )
    hearts: tuple[HeartHeight, ...] = Field(description="How high the hearts lie at the ends.")
    stretch_m: tuple[Exact, Exact] = Field(description="The length on the bed, in log x. [m]")
    buck_cuts: tuple[BuckCutMade, ...] = Field((), description="Where the log is bucked before it goes on the bed.")
    bolts: tuple[BoltFound, ...] = Field((), description="What is cut off, in the order of the cuts.")
    first_face: FirstFace = Field(description="What the first pass opens.")
    passes: tuple[Pass, ...] = Field(description="In sawing order.")
    slabs: tuple[Slab, ...] = Field(description="In sawing order.")
    waste: tuple[Waste, ...] = Field(description="What the layers hold beside the slabs.")
    offcuts: tuple[Offcut, ...] = Field(description="What is left above and below.")
    kerf_volume_m3: Exact = Field(description="Wood turned to sawdust. [m3]")
    kerf_mass_kg: Exact | None = Field(
        None, description="Wood and bark turned to sawdust; null where the masses are of the wood alone. [kg]"
    )
    gross: Exact = Field(description="Sum of the slabs' prices.")
    pairs: tuple[tuple[str, str], ...] = Field(
        (), description="Ids of slabs that are sold as pairs, no slab in two: same quarters, sawn one after the other."
    )
    pairs_premium: Exact = Field(0.0, description="What the pairs bring on top of their slabs' prices.")
    sawing_cost: Exact = Field(description="Passes and slabs, at the hourly rate.")
    drying_cost: Exact = Field(description="Board feet at the book's rate.")
    net: Exact = Field(description="Gross and the pairs' premium less sawing and drying, and what the bolts bring.")
    net_expected: float | None = Field(None, description="Average over the logs that this may be.")
    net_p10: float | None = Field(None, description="One in ten is worth less.")
    net_p90: float | None = Field(None, description="One in ten is worth more.")
    chance_best: float | None = Field(None, description="How likely it is the best of those shown.")
    break_even_log_price: Exact = Field(
        description="The price of the log at which nothing is left once it is hauled and the fee for it received: in "
        "the mean where doubt was weighed."
    )
    break_even_safe: float | None = Field(
        None,
        description="The same on one in five of the logs that this may be, or less: at this price four in five make "
        "money.",
    )
    board_feet: Exact = Field(description="Sum over the slabs.")
    board_feet_p10: float | None = Field(None, description="One in ten gives less.")
    board_feet_p90: float | None = Field(None, description="One in ten gives more.")
    recovery: Exact = Field(description="Area x green thickness of all slabs over the log's wood.")

    def placed(self, *, flipped: bool = False) -> tuple[SupportPlaced, ...]:
        """Return the shims and props to place as the log lies. flipped : or those for what is left after the flip."""
        return tuple(one for one in self.supports if one.kind != "bears" and one.flipped is flipped)

    @model_validator(mode="before")
    @classmethod
    def _shims_of_before(cls, data: Any) -> Any:
        """Read a plan that was kept before plans knew their supports."""
        if isinstance(data, dict) and "supports" not in data and data.get("shims"):
            supports = [
                {"x_m": shim["x_m"], "y_m": None, "member": "stem", "kind": "shim", "height_m": shim["height_m"]}
                for shim in data["shims"]
            ]
            return {**data, "supports": supports}
        return data


class NetAtRoll(Document):
    """The best that was found at a roll, of all tilts tried."""

    roll_deg: Exact = Field(description="[deg]")
    net: float | None = Field(description="Null where the mill cannot take the log so.")


class Bound(Document):
    """How good the best is, proven: it speaks of the log as given, and of every lay, flip and stretch searched."""

    upper_net: float = Field(description="No net can be higher, of any roll, tilt that shims allow, flip and stretch.")
    gap: float = Field(ge=0, le=1, description="(upper_net - best) / upper_net, best the highest net found.")


class Work(Document):
    """How much the search did."""

    lays: int = Field(description="How many it priced.")
    stopped_by: Literal["gap", "lays", "time", "cancelled"] = Field(description="What ended it.")
    seed: int = Field(description="Of its random numbers; the same seed gives the same plans.")
    seconds: float = Field(description="How long it took. [s]")


class Caution(Document):
    """What could hurt somebody."""

    id: str = Field(description="Names the rule.")
    level: Literal["note", "warning", "stop"] = Field(description="A stop must be acknowledged.")
    line: str = Field(description="What to do.")
    reason: str = Field(
        description="Why it shows: the value against the bound; its quantities in SI, in braces: {1077.3 kg}."
    )
    standing: bool = Field(default=False, description="Whether it is a rule that always holds, for any log.")


class DoubtSource(Document):
    """One thing that is not known of the log or of how it is set."""

    source: str = Field(description="What it is, in a word or two.")
    share: float = Field(description="Its share of plan 1's doubt: of the variance of the net.")


class WouldPay(Document):
    """What could be done to be surer, that is worth more than it takes."""

    action: str = Field(description="What to do; its quantities in SI, in braces: {1.2 m}.")
    gain: float = Field(description="What a better choice would bring by it in the mean, before its minutes are paid.")
    minutes: float = Field(description="What it takes.")


class Doubt(Document):
    """How far off the numbers may be, and why."""

    samples: int = Field(description="On how many logs that this one may turn out to be each plan was tried.")
    sources: tuple[DoubtSource, ...] = Field(description="The greatest share first.")
    would_pay: tuple[WouldPay, ...] = Field((), description="The greatest gain first.")


class LevelWhy(Document):
    """What keeps a log from being sawn with its hearts level."""

    kind: Literal["shim", "prop", "throat", "posts", "stands"] = Field(
        description="A higher shim or prop than the mill's, the throat, the posts, or that it does not stand."
    )
    over_m: float | None = Field(description="By how much; null: by all. [m]")


class PlainWhy(Document):
    """Why the plain way stops early, with much of the log left whole: nothing is gained against it."""

    kind: Literal["stands", "throat", "throat_depth", "metal", "lowest_blade", "highest_blade", "wood"] = Field(
        description="What stops its next pass, or its first slab."
    )


class OneThickness(Document):
    """What the log brings sawn in one thickness alone, laid as the best plan lays it."""

    quarters: int = Field(description="The thickness that brings the most so.")
    net: Exact = Field(description="Its net on the log as given.")
    net_expected: float | None = Field(None, description="Average over the logs that this may be.")


class SlabSet(Document):
    """A set of slabs that was asked for, which every plan shown has: at least so many of a thickness."""

    count: int = Field(ge=1, description="How many slabs at least.")
    quarters: int = Field(ge=1, description="Quarters of an inch that they are sold as.")
    net_without: Exact = Field(description="Net of the best plan without asking for it, on the log as given.")
    net_without_expected: float | None = Field(None, description="Average over the logs that this may be.")


class WoodAssumed(Document):
    """The wood as it was assumed, whole, so that a plan can be recomputed."""

    name: str = Field(description="The table's name in lower case, or unknown.")
    scientific_name: str = Field(description="Empty for an unknown wood.")
    known: bool = Field(description="Whether the species was given.")
    status: str = Field(description="seen, or memory where a figure was not read in its source.")
    green_density_kg_m3: Exact = Field(description="Of the wood. [kg/m3]")
    bark_density_kg_m3: Exact = Field(description="Of the bark, green. [kg/m3]")
    bark_ratio: Exact = Field(description="Diameter inside over outside bark that was used; 1 with the bark off.")
    shrinkage_radial_pct: Exact = Field(description="Green to oven-dry. [%]")
    shrinkage_tangential_pct: Exact = Field(description="Green to oven-dry. [%]")


class PlanDocument(Document):
    """What the command line prints with --json, the API returns and the pages draw."""

    schema_: str = Field(SCHEMA, alias="schema", description="Name and version of this document.")
    id: str = Field(description="Names this run.")
    made_at: str = Field(description="When, ISO 8601.")
    made_with: str = Field(description="What made it, with its version.")
    currency: str = Field(description="Of every amount.")
    log: LogFound = Field(description="What the log is.")
    mill: Mill = Field(description="What was assumed of the mill.")
    prices: PriceBook = Field(description="What was assumed of prices.")
    wood: WoodAssumed = Field(description="What was assumed of the wood.")
    kind: Literal["searched", "own_way", "rest"] = Field(
        description="How the first plan came about: by a search, as a way that somebody chose, or as the rest of one, "
        "planned anew after passes that were made."
    )
    made: int = Field(0, ge=0, description="How many of its passes were made before; 0 but for a rest.")
    tally: str = Field(
        "",
        description="How slabs are counted, and what that leaves out, in words; quantities in SI, in braces. Empty in "
        "documents from before they said it.",
    )
    plans: tuple[Plan, ...] = Field(description="Ranked, five at most.")
    plain_way: Plan | None = Field(description="What a sawyer would do without a plan; null where it is impossible.")
    hearts_level: Plan | None = Field(None, description="The way to the best feather.")
    hearts_level_why: LevelWhy | None = Field(
        None, description="What is in the way of hearts level; null where it is possible, pays nothing, or is no fork."
    )
    one_thickness: OneThickness | None = Field(
        None, description="The best plan's log in one thickness alone; null where the best has only one."
    )
    set_: SlabSet | None = Field(
        None, alias="set", description="The set that was asked for; null where none was, or where no plan has it."
    )
    plain_way_why: PlainWhy | None = Field(
        None, description="Why the plain way is no comparison; null where it is one, or where there is none."
    )
    plain_way_off_deg: float = Field(
        0.0, description="How far the plain way's roll is from what habit would take, which is not possible. [deg]"
    )
    value_by_roll: tuple[NetAtRoll, ...] = Field(description="What each roll tried is worth.")
    bound: Bound | None = Field(
        None,
        description="How good the best is, proven; null for a way that was given, and where slabs are counted in a way "
        "that it is not worked out for, which a note then tells.",
    )
    doubt: Doubt | None = Field(None, description="How far off the numbers may be; null where it was not weighed.")
    work: Work = Field(description="How much the search did.")
    warnings: tuple[Annotated[Note, BeforeValidator(kept_note)], ...] = Field(
        description="What the reader should know first; quantities in SI, in braces: {2.95 m}; fields: {:unit}."
    )
    cautions: tuple[Caution, ...] = Field(description="What could hurt somebody, of all in plans together.")

    @model_validator(mode="before")
    @classmethod
    def _kind_of_before(cls, data: Any) -> Any:
        """Fill in what a document is that was kept before documents said it: only a search tries rolls."""
        if isinstance(data, dict) and "kind" not in data:
            return {**data, "kind": "searched" if data.get("value_by_roll") else "own_way"}
        return data


def read_plan(data: dict[str, Any]) -> tuple[PlanDocument, tuple[str, ...]]:
    """Read a plan document; return it with warnings.

    A newer minor version is read with a warning; another major version, or something else
    altogether, raises PlanError in one line.
    """
    stated = str(data.get("schema", "nothing"))
    name, _, version = stated.partition("/")
    own_name, _, own_version = SCHEMA.partition("/")
    major, _, minor = version.partition(".")
    own_major, _, own_minor = own_version.partition(".")
    if name != own_name or major != own_major or not minor.isdigit():
        raise PlanError(f"schema must be {own_name}/{own_major}.x, got {stated}; plan the log again")
    warnings: tuple[str, ...] = ()
    if int(minor) > int(own_minor):
        warnings = (
            f"the plan is of a newer version ({version}, here {own_version}): what is new in it is passed over",
        )
    try:
        return PlanDocument.model_validate(data), warnings
    except ValidationError as error:
        raise PlanError(f"the plan cannot be read: {one_line(error)}") from error
