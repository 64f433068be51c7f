"""What the API takes and gives beside plans, mills and price books: logs, marks, jobs, and what is asked of them."""

from dataclasses import replace
from typing import Annotated, Any, Literal

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    Tag,
    field_serializer,
    field_validator,
)

from optimizer.documents.mill import Mill
from optimizer.documents.plan import MarkKind
from optimizer.documents.prices import PriceBook
from optimizer.documents.typed import Typed
from scans.messages import Note, kept_note, writable
from service.contract.job_state import JobState
from service.contract.ticks import MOST_SECONDS_AGO, MOST_WHO, Change
from service.typed.effort import Effort
from service.typed.log_reading import AboutLog
from service.typed.mark_sheet import MarkTyped
from service.typed.more_walks import MOST_ROLLED_DEG
from service.typed.way import Way
from service.words.messages import API, fields_named, said

Id = Annotated[str, Field(pattern="^[0-9a-f]{32}$", description="32 hexadecimal digits.")]
JobKind = Literal["read", "walk", "plan", "way"]


class Shown(BaseModel):
    """A part of an answer. Frozen."""

    model_config = ConfigDict(frozen=True)


class ErrorShown(Shown):
    """What is wrong, and what to do about it."""

    status: int = Field(description="The HTTP status.", examples=[422])
    message: str = Field(description="The field, the bound, the value, in one line.")
    field: str | None = Field(None, description="The field that is wrong, where it is one.")
    what_to_do: str = Field(description="What to do next.")

    @field_validator("message", "field", mode="before")
    @classmethod
    def in_letters_that_can_be_sent(cls, text: Any) -> Any:
        """Take what repeats somebody's half of a surrogate pair, as JSON may hold one."""
        return writable(text) if isinstance(text, str) else text

    @field_serializer("message", when_used="json")
    def for_programs(self, message: str) -> str:
        """Write its quantities in SI and its fields as the API names them; pages write them as their reader does."""
        return said(message, None, API)


class ErrorAnswer(Shown):
    """The one shape of every error."""

    error: ErrorShown


class ScanFacts(Shown):
    """What one of several scans brought to the log that is made of them."""

    points: int = Field(description="How many of its points are of the log.")
    seen_share: float = Field(description="Share of the log's surface that it saw.")
    roll_deg: float = Field(
        description="How far the log was rolled from how it lay in the first scan, clockwise seen from the butt; 0 of "
        "the first."
    )
    known_within_deg: float = Field(description="How far off that roll may be; 0 of the first.")
    apart_m: float = Field(
        description="How far it lies from the scans before it, where both saw the bark; 0 of the first. [m]"
    )


class LogFacts(Shown):
    """What a log that was read is."""

    source: Literal["sheet", "solid", "scan"] = Field(description="A log sheet, a closed mesh, or a scan.")
    species: str = Field(description="The table's name in lower case, or unknown.")
    bark: bool = Field(description="Whether the bark is on.")
    length_m: float = Field(description="Extent along the log. [m]")
    volume_m3: float = Field(description="Wood alone. [m3]")
    mass_kg: float = Field(description="Green, bark included. [kg]")
    end_trim_m: float = Field(description="Lost at each end. [m]")
    cost: float = Field(description="What the log cost.")
    haul: float = Field(0.0, description="What it costs to bring the log here.")
    fee_received: float = Field(0.0, description="What the owner is paid to take the log away.")
    limbs: int = Field(description="How many limbs it divides into; 0 for one stem.")
    faces: int = Field(description="Triangles of its outer surface.")
    not_seen_share: float | None = Field(description="Share of the surface that the scan did not see.")
    surface_error_m: float | None = Field(description="How far off the surface may be. [m]")
    guessed_within_m: float | None = Field(
        None, description="How near the truth four of five places lie that no scan saw. [m]"
    )
    scans: tuple[ScanFacts, ...] = Field(
        (), description="Of the scans that it is made of, the first first; empty where it is one, or none."
    )
    warnings: tuple[Annotated[Note, BeforeValidator(kept_note)], ...] = Field(
        description="What was found odd, or assumed; its quantities in SI, in braces: {2.95 m}."
    )

    @field_serializer("warnings", when_used="json")
    def fields_of_the_api(self, warnings: tuple[Note, ...]) -> list[Note]:
        """Name fields as programs know them; pages name the boxes of their forms."""
        return [replace(note, text=fields_named(note.text, API)) for note in warnings]


class ScanShown(Shown):
    """A scan of a log beside its first, which the log was rolled before."""

    id: Id
    file_name: str = Field(description="What its file was called.")
    file_sha256: str = Field(description="Hash of its file.")
    file_bytes: int = Field(description="How large its file is.")
    rolled_deg: float | None = Field(
        description="How far the log was rolled from how it lay in the first scan, as far as somebody said it."
    )
    state: Literal["fitting", "part", "refused"] = Field(
        description="It is being fitted to the others; the log is made of it too; or it was not taken, and why is "
        "said in error."
    )
    job_id: Id = Field(description="The job that last tried to fit it.")
    error: ErrorShown | None = Field(description="Why it was not taken; null where its job was stopped.")


class ScanGiven(Typed):
    """What is said of a scan of a log beside its first."""

    rolled_deg: float | None = Field(
        None,
        ge=-MOST_ROLLED_DEG,
        le=MOST_ROLLED_DEG,
        description="How far the log was rolled from how it lay in the first scan, clockwise looking at the butt; "
        "else it is found.",
        examples=[150],
    )


class LogShown(Shown):
    """A log."""

    id: Id
    name: str = Field(description="What it is called.")
    state: Literal["reading", "ready", "failed"] = Field(description="Whether it was read yet.")
    file_name: str = Field(description="What its file was called.")
    file_sha256: str = Field(description="Hash of its file.")
    file_bytes: int = Field(description="How large its file is.")
    about: AboutLog = Field(description="What was said of it.")
    facts: LogFacts | None = Field(description="What it is; null until it was read.")
    job_id: Id | None = Field(description="The job that reads it.")
    error: ErrorShown | None = Field(description="Why it could not be read.")
    scans: tuple[ScanShown, ...] = Field((), description="Scans of it beside its file, in the order that they came.")
    made_at: str = Field(description="When it came, ISO 8601.")


class MarkPlaced(Typed):
    """A mark pointed out on the surface: where it is, in the log frame."""

    kind: MarkKind = Field(description="What is there.")
    x_m: float = Field(ge=-1, le=61, description="Log frame. [m]")
    y_m: float = Field(ge=-5, le=5, description="Log frame. [m]")
    z_m: float = Field(ge=-5, le=5, description="Log frame. [m]")
    radius_m: float = Field(0.0, ge=0, le=1, description="Radius of the rod that it fills; 0 of pith. [m]")
    depth_m: float = Field(0.0, ge=0, le=5, description="How far it goes inwards; 0 of pith. [m]")


class MillKept(Shown):
    """A mill that is kept."""

    id: Id
    name: str = Field(description="What the owner calls it.")
    changed_at: str = Field(description="When it was last written, ISO 8601.")
    mill: Mill


class PriceBookKept(Shown):
    """A price book that is kept."""

    id: Id
    name: str = Field(description="What the owner calls it.")
    changed_at: str = Field(description="When it was last written, ISO 8601.")
    prices: PriceBook


def _way_of_marking(mark: Any) -> str:
    """Tell a mark that was pointed out from one that was measured."""
    given = mark if isinstance(mark, dict) else getattr(mark, "model_fields_set", ())
    return "placed" if "x_m" in given or "x" in given else "taped"


MarkGiven = Annotated[
    Annotated[MarkTyped, Tag("taped")] | Annotated[MarkPlaced, Tag("placed")], Discriminator(_way_of_marking)
]
"""A mark, either way."""


class Assumed(Typed):
    """What a log is planned on: a kept mill and price book."""

    mill_id: Id | None = Field(None, description="A kept mill; else the one that was written last.")
    prices_id: Id | None = Field(None, description="A kept price book; else the one that was written last.")


class PlanRequest(Assumed, Effort):
    """How to plan a log."""


class WayRequest(Assumed, Way):
    """A way that somebody chose. Lengths are texts with their unit; bare numbers are inches, or mm where metric."""

    of_plan: Id | None = Field(
        None,
        description="A plan that it goes on from: of mill_id and prices_id what is left out is that of this plan, as "
        "it was when it was made; for a log that is half sawn.",
    )


class BestCut(Shown):
    """Where the best plan so far bucks the log."""

    member: str = Field(description="stem_butt, stem_top, limb_1 or limb_2.")
    at_m: float = Field(description="How far along it. [m]")
    point_m: tuple[float, float, float] = Field(description="On the cut, log frame. [m]")
    normal: tuple[float, float, float] = Field(description="Unit vector across the cut, log frame.")


class BestShown(Shown):
    """The best plan that a search has found yet: how the log lies, and where it is sawn."""

    net: float = Field(description="As the search knows it by then, if the log is exactly as measured.")
    roll_deg: float = Field(description="Turn about the log's axis, clockwise seen from the butt. [deg]")
    log_to_bed: tuple[tuple[float, ...], ...] = Field(description="From the log frame to the bed frame; 4 x 4.")
    stretch_m: tuple[float, float] = Field(description="The length on the bed, in log x. [m]")
    blade_heights_m: tuple[float, ...] = Field(description="In sawing order, up to a flip. [m]")
    buck_cuts: tuple[BestCut, ...] = Field((), description="Where the log is bucked before it goes on the bed.")


class JobShown(Shown):
    """A job: reading a log, fitting another scan to it, planning it, or pricing a way."""

    id: Id
    kind: JobKind = Field(description="What it does.")
    log_id: Id = Field(description="The log that it is about.")
    state: JobState = Field(description="Where it is.")
    stage: str = Field(description="What it does just now.")
    done: int = Field(description="How much of the stage is done.")
    total: int = Field(description="How much the stage holds; 0 where that is not known.")
    best_net: float | None = Field(description="The best net so far.")
    gap: float | None = Field(description="How much better another lay could be, proven, as a share.")
    best: BestShown | None = Field(None, description="The best plan so far; null until a search has one.")
    share: float = Field(0.0, ge=0, le=1, description="How much of the whole job is done, about; it never falls.")
    seconds_left: float | None = Field(None, description="How long it takes yet, about; null until it can be told.")
    cancel_wanted: bool = Field(description="Whether it was asked to stop.")
    attempt: int = Field(description="How often it was started.")
    plan_id: Id | None = Field(description="The plan that it made.")
    error: ErrorShown | None = Field(description="Why it failed.")
    made_at: str = Field(description="When it was asked for, ISO 8601.")
    started_at: str | None = Field(description="When it was last started.")
    ended_at: str | None = Field(description="When it ended.")


class PlanLine(Shown):
    """A plan in one line."""

    id: Id
    log_id: Id
    kind: Literal["plan", "way"] = Field(description="Searched, or a way that somebody chose.")
    mill: str = Field(description="Name of the mill.")
    prices: str = Field(description="Name of the price book.")
    currency: str = Field(description="Of the net.")
    net: float = Field(description="Of the way that it puts first.")
    net_expected: float | None = Field(description="The same in the mean, where doubt was weighed.")
    made_at: str = Field(description="When, ISO 8601.")


class SpeciesLine(Shown):
    """A wood of the table."""

    name: str = Field(description="The table's name.")
    scientific_name: str = Field(description="Its Latin name.")
    green_density_kg_m3: float = Field(description="[kg/m3]")
    shrinkage_radial_pct: float = Field(description="Green to oven-dry. [%]")
    shrinkage_tangential_pct: float = Field(description="Green to oven-dry. [%]")
    status: str = Field(description="seen, or memory where a figure was not read in its source.")


class LogAdded(Shown):
    """A log that came in."""

    log: LogShown
    job: JobShown | None = Field(description="The job that reads it; null where it was read long ago.")
    again: bool = Field(description="Whether the same file with the same words was here already.")


class ScanAdded(Shown):
    """A second scan of a log, or a third, that came in."""

    log: LogShown
    scan_id: Id = Field(description="Which of the log's scans it is.")
    job: JobShown = Field(description="The job that fits it to the others; until it is done the log stays as it is.")


class TickSaid(Typed):
    """What is said of a tick beside where it is."""

    who: str = Field("", max_length=MOST_WHO, description="Whoever made it, in a word.", examples=["Ann"])
    seen: int | None = Field(
        None,
        ge=0,
        le=2**31 - 1,
        description="Of a change that waited for a signal: `changes` of the tick as it was seen last, 0 for none. "
        "Such a change takes back no tick that it did not see.",
        examples=[1],
    )
    seconds_ago: float = Field(
        0.0, ge=0, le=MOST_SECONDS_AGO, description="How long such a change waited. [s]", examples=[90]
    )

    @field_validator("who")
    @classmethod
    def in_one_line(cls, name: str) -> str:
        """Return a name without breaks and needless blanks."""
        return " ".join(name.split())

    def change(self, *, is_ticked: bool) -> Change:
        """Return it as a change of a tick."""
        return Change(is_ticked, self.who, self.seen, self.seconds_ago)


class TickShown(Shown):
    """A tick on a cut list, or one that was taken back."""

    way: str = Field(description="The way of the plan: its rank, level or plain.")
    step: str = Field(description="What is ticked off: pass-3, roll, shim-1, buck-1, sweep, stop.")
    is_ticked: bool = Field(description="Whether it is ticked.")
    who: str = Field(description="Whoever changed it last, where they said so.")
    changed_at: str = Field(description="When it was changed last, ISO 8601.")
    changes: int = Field(description="How often it was changed.")
