"""The log sheet as people type it (`log.toml`), and the one way from it to the numbers of `scans.tape`.

Bounds of single fields stand here; what fields may say together is judged where the log is built.
Angles are clockwise from upright, seen from the butt end.
"""

from typing import Any, Literal

from pydantic import Field, field_validator

from optimizer.documents.typed import Typed
from scans.log import HEART_RADIUS_M
from scans.tape.log_from_sheet import Bow, LogSheet, TapedLimb, TapedSection
from service.typed.mark_sheet import MarkTyped


class SectionTyped(Typed):
    """The log measured at one place: across the wide and the narrow way, or round it."""

    at_m: float = Field(ge=0, le=60, description="From the butt end, or along the limb from where it leaves. [m]")
    wide_m: float | None = Field(None, gt=0.01, le=5, description="Across, the widest way; alone: round. [m]")
    narrow_m: float | None = Field(None, gt=0.01, le=5, description="Across, square to the widest way. [m]")
    wide_deg: float = Field(0.0, ge=-360, le=360, description="The wide one's lean from upright, clockwise. [deg]")
    girth_m: float | None = Field(None, gt=0.03, le=16, description="Round it, in place of wide and narrow. [m]")

    def taped(self) -> TapedSection:
        """Return its numbers."""
        return TapedSection(
            at_m=self.at_m, wide_m=self.wide_m, narrow_m=self.narrow_m, wide_deg=self.wide_deg, girth_m=self.girth_m
        )


class BowTyped(Typed):
    """A string along the hollow side, end to end."""

    gap_m: float = Field(ge=0, le=2, description="The widest gap under the string. [m]")
    at_m: float = Field(ge=0, le=60, description="Where it is, from the butt end. [m]")
    toward_deg: float = Field(ge=-360, le=360, description="Which way the hollow faces, clockwise. [deg]")


class LimbTyped(Typed):
    """What a fork divides into."""

    on: int | None = Field(
        None, ge=1, le=50, description="The limb that it leaves, by its place in the sheet, from 1; none: the stem."
    )
    leaves_at_m: float = Field(gt=0, le=60, description="Where the bark parts, along the stem, or that limb. [m]")
    out_deg: float = Field(ge=0, le=80, description="Its lean from the direction of what it leaves. [deg]")
    toward_deg: float = Field(ge=-360, le=360, description="Which way it leans, clockwise. [deg]")
    section: tuple[SectionTyped, ...] = Field(min_length=1, description="Sections along it; the last is its end.")


class LogSheetTyped(Typed):
    """A log measured with a tape and calipers."""

    name: str = Field("log", min_length=1, max_length=200, description="What to call it.")
    species: str | None = Field(None, max_length=200, description="A species of the table; none: unknown.")
    length_m: float | None = Field(
        None, gt=0, le=60, description="The whole length, limbs included; checked against the sections. [m]"
    )
    bark: Literal["on", "off"] = Field("on", description="Whether the bark was measured with it.")
    bark_thickness_m: float | None = Field(
        None, gt=0, le=0.15, description="Of the bark alone, as an axe cut shows it; none: as the wood has it. [m]"
    )
    end_trim_m: float | None = Field(None, ge=0, le=5, description="Checked or dirty wood lost at each end. [m]")
    cost: float | None = Field(None, ge=0, le=1e7, description="What the log cost, in the price book's currency.")
    haul: float | None = Field(
        None, ge=0, le=1e7, description="What it costs to bring the log here, in the price book's currency."
    )
    fee_received: float | None = Field(
        None, ge=0, le=1e7, description="What you are paid to take the log away, in the price book's currency."
    )
    heart_radius_m: float = Field(HEART_RADIUS_M, ge=0, le=1, description="Radius of the heart strip. [m]")
    section: tuple[SectionTyped, ...] = Field(min_length=1, description="Sections of the stem, the butt end's first.")
    bow: BowTyped | None = Field(None, description="How it bends.")
    limb: tuple[LimbTyped, ...] = Field((), description="What the fork divides into.")
    mark: tuple[MarkTyped, ...] = Field((), description="Places on the log to look out for.")

    @field_validator("bark", mode="before")
    @classmethod
    def yes_and_no(cls, value: Any) -> Any:
        """Take true and false for on and off."""
        return {True: "on", False: "off"}[value] if isinstance(value, bool) else value

    def taped(self) -> LogSheet:
        """Return its numbers."""
        return LogSheet(
            name=self.name,
            length_m=self.length_m,
            bark_on=self.bark == "on",
            sections=tuple(section.taped() for section in self.section),
            bow=None
            if self.bow is None
            else Bow(gap_m=self.bow.gap_m, at_m=self.bow.at_m, toward_deg=self.bow.toward_deg),
            limbs=tuple(
                TapedLimb(
                    leaves_at_m=limb.leaves_at_m,
                    out_deg=limb.out_deg,
                    toward_deg=limb.toward_deg,
                    sections=tuple(section.taped() for section in limb.section),
                    on=limb.on,
                )
                for limb in self.limb
            ),
            heart_radius_m=self.heart_radius_m,
        )
