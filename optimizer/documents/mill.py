"""The mill: what its head, bed and people can take, and how fast they work."""

from pydantic import Field

from optimizer.documents.typed import Typed


class Pace(Typed):
    """How fast the mill saws and the people work."""

    sawing_rate_m2_per_min: float | None = Field(
        None, gt=0, description="Area of cut that the blade can do a minute; none: no limit. [m2/min]"
    )
    feed_max_m_per_min: float | None = Field(
        None, gt=0, description="Fastest feed along the log; none: no limit. [m/min]"
    )
    minutes_per_pass: float = Field(0.0, ge=0, le=600, description="Fixed minutes of each pass.")
    minutes_per_slab: float = Field(0.0, ge=0, le=600, description="Minutes to take off and put by a slab.")
    minutes_per_flip: float = Field(0.0, ge=0, le=600, description="Minutes to turn the half-sawn log over.")
    minutes_per_log: float = Field(0.0, ge=0, le=600, description="Minutes to bring a log and lay it on the bed.")
    minutes_per_roll: float = Field(0.0, ge=0, le=600, description="Minutes to roll the log to where it is sawn.")
    minutes_per_support: float = Field(0.0, ge=0, le=600, description="Minutes to set a shim or a prop.")
    minutes_per_buck_cut: float = Field(0.0, ge=0, le=600, description="Minutes to buck the log at one place.")
    blade_cost_per_m2: float = Field(
        0.0, ge=0, le=1e4, description="What blades cost for the area that they cut, in the book's currency. [per m2]"
    )
    hourly_rate: float = Field(0.0, ge=0, description="What an hour at the mill costs, in the book's currency.")


class Metal(Typed):
    """What hidden metal costs."""

    strike_chance: float = Field(0.0, ge=0, le=1, description="Chance that a log of this yard hides metal that is hit.")
    strike_cost: float = Field(0.0, ge=0, le=1e6, description="What a strike costs, in the book's currency.")

    @property
    def cost_per_log(self) -> float:
        """What strikes cost on a log, in the mean."""
        return self.strike_chance * self.strike_cost


class SetUp(Typed):
    """How well a person can set the log; for the doubt."""

    roll_error_deg: float = Field(0.0, ge=0, le=45, description="Standard error of the roll. [deg]")
    shim_error_m: float = Field(0.0, ge=0, le=0.1, description="Standard error of a shim's height. [m]")
    thickness_error_m: float = Field(0.0, ge=0, le=0.02, description="Standard error of a thickness. [m]")


class Mill(Typed):
    """A slab mill. Heights are above the tops of the bunks."""

    name: str = Field("mill", max_length=200, description="What the owner calls it.")
    throat_m: float = Field(gt=0, le=10, description="The widest reach the guides let through. [m]")
    between_posts_m: float | None = Field(
        None, gt=0, le=20, description="The widest log that passes between the posts; none: no limit. [m]"
    )
    throat_depth_m: float | None = Field(
        None, gt=0, le=10, description="The most wood that fits above the blade; none: no limit. [m]"
    )
    bed_length_m: float | None = Field(
        None, gt=0, le=60, description="The longest log that the bed takes; none: no limit. [m]"
    )
    lowest_blade_m: float = Field(0.0, ge=0, le=5, description="The lowest blade height. [m]")
    highest_blade_m: float | None = Field(
        None, gt=0, le=10, description="The highest blade height; none: no limit. [m]"
    )
    kerf_m: float = Field(gt=0, le=0.05, description="Wood that the blade turns to sawdust. [m]")
    height_step_m: float = Field(ge=0.0002, le=0.1, description="Blade heights are whole multiples of this. [m]")
    scale_zero_m: float = Field(0.0, ge=-5, le=5, description="Where the height scale reads 0, above the bunks. [m]")
    max_log_mass_kg: float | None = Field(
        None, gt=0, description="The heaviest log that the bed may bear; none: no limit. [kg]"
    )
    loader_limit_kg: float | None = Field(
        None, gt=0, description="The most that the loader may lift; none: not known. [kg]"
    )
    max_shim_m: float = Field(0.0, ge=0, le=2, description="The highest shim that may stand. [m]")
    max_prop_m: float = Field(0.3048, ge=0, le=2, description="The tallest blocks that may stand under a limb. [m]")
    clamps_hold: bool = Field(
        default=False, description="Whether clamps hold a log that would not stand on its supports alone."
    )
    first_bunk_m: float = Field(
        0.0, ge=0, le=10, description="From the butt end of the stretch to the first bunk; 0: 6 in is assumed. [m]"
    )
    bunk_spacing_m: float | None = Field(None, gt=0, le=10, description="From bunk to bunk; none: 2 ft is assumed. [m]")
    metal_keep_out_m: float = Field(0.0, ge=0, le=1, description="No blade nearer to metal than this. [m]")
    can_flip: bool = Field(default=False, description="Whether a half-sawn log can be turned over.")
    slabs_stay_on: bool = Field(
        default=False, description="Whether slabs stay on the log, above the blade, until the last pass."
    )
    pace: Pace = Field(default_factory=Pace, description="How fast the work goes.")
    metal: Metal = Field(default_factory=Metal, description="What hidden metal costs.")
    set_up: SetUp = Field(default_factory=SetUp, description="How well a person can set the log.")

    def changed(self, **changes: float | None) -> "Mill":
        """Return the same mill but for some fields, checked anew. Raises pydantic's ValidationError."""
        return Mill.model_validate({**self.model_dump(), **changes})

    def pass_minutes(self, cut_length_m: float, cut_area_m2: float) -> float:
        """Return the minutes of one pass: the slower of feed and sawing rate, and the fixed part."""
        pace = self.pace
        feed = cut_length_m / pace.feed_max_m_per_min if pace.feed_max_m_per_min else 0.0
        sawing = cut_area_m2 / pace.sawing_rate_m2_per_min if pace.sawing_rate_m2_per_min else 0.0
        return max(feed, sawing) + pace.minutes_per_pass

    def money(self, minutes: float) -> float:
        """Return what so many minutes at the mill cost."""
        return minutes * self.pace.hourly_rate / 60.0
