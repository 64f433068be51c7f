"""What the forms ask: a mill, a price book, a log sheet, a mark."""

from optimizer.documents.prices import ANY_SPECIES
from service.pages.fields import Asked, Field

MILL = Asked(
    (
        Field("name", "Name", "text", needed=True),
        Field("throat_m", "Widest cut", hint="1420|56 in", word="throat", needed=True),
        Field("throat_depth_m", "Most wood above the blade", hint="500|20 in", word="throat-depth"),
        Field("between_posts_m", "Widest log between the posts", hint="1670|66 in"),
        Field("bed_length_m", "Longest log on the bed", "long", hint="4.5 m|15 ft"),
        Field("max_log_mass_kg", "Heaviest log on the bed", "mass", hint="4000|9000"),
        Field("loader_limit_kg", "Most your loader lifts", "mass", hint="700|1500"),
        Field("kerf_m", "Kerf", hint="1.6|1/16 in", word="kerf", needed=True),
        Field("height_step_m", "Height step", hint="1|1/16 in", word="height-step", needed=True),
        Field("scale_zero_m", "Scale zero", hint="0|0 in", word="scale-zero"),
        Field("lowest_blade_m", "Lowest blade height", hint="30|1 1/4 in"),
        Field("highest_blade_m", "Highest blade height", hint="1100|44 in"),
        Field("first_bunk_m", "Butt end to the first bunk", hint="150|6 in", word="bunk"),
        Field("bunk_spacing_m", "Bunk to bunk", hint="600|24 in", word="bunk"),
        Field("max_shim_m", "Highest shim", hint="100|4 in", word="shim"),
        Field("max_prop_m", "Highest blocks", hint="300|12 in", word="prop"),
        Field("metal_keep_out_m", "Stay this far from metal", hint="50|2 in", word="keep-out"),
        Field("can_flip", "I can turn the half-sawn log over", "flag", word="flip"),
        Field("clamps_hold", "Clamps hold a log that would turn over", "flag"),
        Field("slabs_stay_on", "Slabs stay on the log until the last cut", "flag", word="slab"),
        Field("pace.sawing_rate_m2_per_min", "Wood sawn in a minute", "area-rate", hint="0.5|5.4"),
        Field("pace.feed_max_m_per_min", "Fastest feed", "speed", hint="3|10"),
        Field("pace.minutes_per_pass", "Minutes to set each cut", "number", hint="3", word="pass"),
        Field("pace.minutes_per_slab", "Minutes to stack each slab", "number", hint="8"),
        Field("pace.minutes_per_flip", "Minutes to turn the log over", "number", hint="15"),
        Field("pace.minutes_per_log", "Minutes to put a log on the bed", "number", hint="10"),
        Field("pace.minutes_per_roll", "Minutes to roll the log", "number", hint="3", word="roll"),
        Field("pace.minutes_per_support", "Minutes to set each shim or stack of blocks", "number", hint="2"),
        Field("pace.minutes_per_buck_cut", "Minutes to buck the log at one place", "number", hint="5", word="buck"),
        Field("pace.blade_cost_per_m2", "Blades, for the wood sawn", "per-area", hint="1.60|0.15", word="blade-cost"),
        Field("pace.hourly_rate", "What an hour at the mill costs", "number", hint="60"),
        Field("metal.strike_chance", "Logs with metal that you hit", "percent", hint="5", word="metal-strike"),
        Field("metal.strike_cost", "What hitting metal costs", "number", hint="40"),
        Field("set_up.roll_error_deg", "How far off the roll may be, degrees", "number", hint="3", word="roll"),
        Field("set_up.shim_error_m", "How far off a shim may be", hint="6|1/4 in"),
        Field("set_up.thickness_error_m", "How far off a slab's thickness may be", hint="1|1/32 in"),
    )
)
"""Every field of a mill, so that a form loses none."""


def _price_row(form: str) -> tuple[Field, ...]:
    """Return what is asked of a price by the square foot or by the slab."""
    return (
        Field(f"{form}.*.species", "Wood", "text", hint=ANY_SPECIES, list_id="species-priced", needed=True),
        Field(f"{form}.*.quarters", "Quarters", "whole", hint="8", word="quarters", needed=True),
        Field(f"{form}.*.price", "Price", "number", hint="9.00", needed=True),
        Field(f"{form}.*.saw_m", "Saw it this thick", hint="57|2 1/4 in", word="green"),
    )


MOISTURES = (("green", "Green, right off the saw"), ("dry", "Dry, when you sell it"))
FACES = (
    ("both", "Only wood that is on both faces"),
    ("narrow", "The narrower face"),
    ("wide", "The wider face"),
    ("mean", "Halfway between the two faces"),
)
WIDTHS = (
    ("mean", "The average along the slab"),
    ("middle", "At the middle of its length"),
    ("three", "The average of three: middle, and a foot from each end"),
    ("least", "The narrowest place"),
)

PRICES = Asked(
    (
        Field("name", "Name", "text", needed=True),
        Field("currency", "Currency", "text", hint="USD", needed=True),
        Field("per_board_foot.*.species", "Wood", "text", hint=ANY_SPECIES, list_id="species-priced", needed=True),
        Field("per_board_foot.*.quarters", "Quarters", "whole", hint="8", word="quarters", needed=True),
        Field("per_board_foot.*.price", "Price", "number", hint="9.00", word="board-foot", needed=True),
        Field("per_board_foot.*.saw_m", "Saw it this thick", hint="57|2 1/4 in", word="green"),
        *_price_row("per_square_foot"),
        *_price_row("per_slab"),
        Field("per_slab.*.least_width_m", "At least this wide", hint="750|30 in"),
        Field("per_slab.*.least_length_m", "At least this long", "long", hint="2.4 m|8 ft"),
        Field("tally.moisture", "Width is measured", "choice", offers=MOISTURES, word="tally-moisture"),
        Field("tally.face", "Which face they measure", "choice", offers=FACES),
        Field("tally.width", "Which width counts", "choice", offers=WIDTHS),
        Field("tally.round_width_m", "Widths are rounded down to", hint="10|1/2 in"),
        Field("tally.round_length_m", "Lengths are rounded down to", hint="50|6 in"),
        Field("width_factor.*.at_m", "At an average width of", hint="500|20 in", needed=True),
        Field("width_factor.*.factor", "multiply the price by", "number", hint="1.0", needed=True),
        Field("deduct.heart", "Heart", "percent", hint="40", word="heart"),
        Field("deduct.knot", "Knots", "percent", hint="50"),
        Field("deduct.rot", "Rot", "percent", hint="100"),
        Field("deduct.crack", "Cracks", "percent", hint="100"),
        Field("deduct.bark_pocket", "Bark pockets", "percent", hint="60"),
        Field("deduct.slab_with_heart", "Whole slab with pith in it", "percent", hint="25", word="slab-with-heart"),
        Field(
            "figure.feather_per_board_foot",
            "Crotch figure: extra a board foot",
            "number",
            hint="6",
            word="feather",
        ),
        Field("limits.min_width_m", "Narrowest slab", hint="250|10 in", needed=True),
        Field("limits.max_width_m", "Most width they pay for", hint="1500|60 in"),
        Field("limits.min_length_m", "Shortest slab", "long", hint="1.2 m|4 ft", needed=True),
        Field("limits.max_length_m", "Longest slab", "long", hint="3.6 m|12 ft"),
        Field("finish.moisture_pct", "Dried to, % moisture", "number", hint="8"),
        Field("finish.allowance_m", "Flattening takes off", hint="3|1/8 in", word="allowance"),
        Field("drying.*.quarters", "Quarters", "whole", hint="8", word="quarters"),
        Field("drying.*.cost_per_board_foot", "Cost a board foot", "number", hint="0.80"),
        Field("drying.*.months", "Months until you sell", "number", hint="14", word="months"),
        Field("drying.*.lost", "Lost in drying", "percent", hint="5", word="lost"),
        Field("money.yearly_rate", "Interest while slabs dry, a year", "percent", hint="8", word="yearly-rate"),
        Field("pairs.premium", "Extra for a pair", "percent", hint="10", word="pair"),
        Field("money.thicknesses", "Most thicknesses from one log", "whole", hint="2", word="thicknesses"),
        Field("money.offcut_per_kg", "Firewood brings", "per-mass", hint="0.05|0.02"),
    ),
    rows=("per_board_foot", "per_square_foot", "per_slab", "width_factor", "drying"),
)

_SECTION = (
    ("at_m", "Along it", "long", ""),
    ("wide_m", "Widest", "length", ""),
    ("narrow_m", "Square to it", "length", ""),
    ("wide_deg", "Widest points, degrees", "number", "clock"),
    ("girth_m", "Or only the girth", "long", "girth"),
)
MARK_KINDS = (
    ("metal", "Metal"),
    ("knot", "Knot"),
    ("rot", "Rot"),
    ("crack", "Crack"),
    ("bark_pocket", "Bark pocket"),
    ("pith", "Pith, on an end"),
)

SHEET = Asked(
    (
        Field("name", "Name of the log", "text", hint="Orchard Road maple", needed=True),
        Field("species", "Wood", "text", hint="sugar maple", list_id="species-list"),
        Field("length_m", "Whole length", "long", hint="2.95 m|9 ft 8 in"),
        Field("bark", "Measured with its bark", "choice", offers=(("on", "With bark"), ("off", "Without bark"))),
        Field("bark_thickness_m", "Bark thickness, by an axe cut", hint="16|5/8 in"),
        Field("end_trim_m", "Lost at each end", hint="50|2 in", word="end-trim"),
        Field("cost", "What you paid for it", "number", hint="250"),
        Field("haul", "Hauling it costs", "number", hint="80"),
        Field("fee_received", "You are paid to take it", "number", hint="100"),
        Field("heart_radius_m", "Half the width of the heart", hint="25|1 in", word="heart"),
        *(
            Field(f"section.*.{name}", label, kind, word=word, needed=name == "at_m")  # type: ignore[arg-type]
            for name, label, kind, word in _SECTION
        ),
        Field("bow.gap_m", "Widest gap under the string", hint="75|3 in", word="bow"),
        Field("bow.at_m", "Where that gap is, from the butt", "long", hint="1.5 m|5 ft"),
        Field("bow.toward_deg", "Which way the hollow faces, degrees", "number", hint="90", word="clock"),
        Field("limb.*.on", "Leaves limb number, if not the trunk", "whole", hint="1", word="fork"),
        Field("limb.*.leaves_at_m", "Leaves it at", "long", hint="1.7 m|5 ft 8 in", word="fork", needed=True),
        Field("limb.*.out_deg", "Leans away by, degrees", "number", hint="20", needed=True),
        Field("limb.*.toward_deg", "Leans toward, degrees", "number", hint="90", word="clock", needed=True),
        *(
            Field(f"limb.*.section.*.{name}", label, kind, word=word, needed=name == "at_m")  # type: ignore[arg-type]
            for name, label, kind, word in _SECTION
        ),
        Field("mark.*.kind", "What is there", "choice", offers=(("", "Nothing"), *MARK_KINDS), needed=True),
        Field("mark.*.at_m", "Along the log", "long", hint="0.9 m|3 ft", needed=True),
        Field("mark.*.toward_deg", "Around the log, degrees", "number", hint="300", word="clock"),
        Field("mark.*.radius_m", "Half its width", hint="25|1 in"),
        Field("mark.*.depth_m", "How deep", hint="100|4 in"),
        Field("mark.*.from_middle_m", "On an end: from the middle", hint="75|3 in"),
    ),
    rows=("section", "limb", "limb.*.section", "mark"),
)

MARK = Asked(
    (
        Field("kind", "What is there", "choice", offers=MARK_KINDS, needed=True),
        Field("at_m", "Along the log, from the butt", "long", hint="0.9 m|3 ft"),
        Field("toward_deg", "Around the log, degrees", "number", hint="300", word="clock"),
        Field("radius_m", "Half its width", hint="25|1 in"),
        Field("depth_m", "How deep it goes", hint="100|4 in"),
        Field("from_middle_m", "On an end: from the middle", hint="75|3 in"),
        Field("x_m", "x", "text"),
        Field("y_m", "y", "text"),
        Field("z_m", "z", "text"),
    )
)
"""Typed, or pointed out: x_m, y_m and z_m are in metres, from the solid on the page."""
