"""Marks as people type them, in a log sheet or a file of their own, and their places on the log.

```toml
[[mark]]
kind = "metal"              # metal, knot, rot, crack, bark_pocket, pith
at = "3 ft"                 # along the log
toward_deg = 300            # where on the girth, clockwise from upright seen from the butt
radius = "1 in"
depth = "4 in"
```
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import cos, radians, sin

import numpy as np
from pydantic import Field, model_validator

from optimizer.bed.marks import END_FACE_M, FLAWS, MarkError, place_on_girth
from optimizer.documents.mill import Mill
from optimizer.documents.plan import Mark, MarkKind
from optimizer.documents.prices import PriceBook
from optimizer.documents.typed import Typed
from scans.log import FloatArray, Log, moved
from scans.messages import Note, long_length, named
from service.typed.errors import InputError

AT_END_M = 0.05
"""A mark so near to an end is meant to be on it, and one so far beyond it is still on the log: two readings of one
tape differ by as much (our own rule, no source)."""


class MarkTyped(Typed):
    """A place on the log to look out for: on its girth, or on an end."""

    kind: MarkKind = Field(description="What is there.")
    at_m: float = Field(ge=0, le=60, description="Along the log from the butt end; of pith, 0 or the log's length. [m]")
    toward_deg: float = Field(
        0.0, ge=-360, le=360, description="Where on the girth, from upright clockwise seen from the butt. [deg]"
    )
    radius_m: float | None = Field(None, gt=0, le=1, description="Radius of the rod that it fills; not of pith. [m]")
    depth_m: float | None = Field(
        None, gt=0, le=5, description="How far it goes inwards, from an end along the log; not of pith. [m]"
    )
    from_middle_m: float | None = Field(
        None,
        ge=0,
        le=2,
        description="On an end: how far off its middle, towards toward_deg; pith without it is in the middle, "
        "other marks without it are on the girth. [m]",
    )

    @model_validator(mode="after")
    def has_what_its_kind_needs(self) -> "MarkTyped":
        """Ask for the size of metal and flaws, and for none of pith."""
        for name, value in {"radius": self.radius_m, "depth": self.depth_m}.items():
            if self.kind != "pith" and value is None:
                raise InputError(f"{named(name)} is missing for {self.kind}", f'add {name} = "2 in"', field=name)
            if self.kind == "pith" and value is not None:
                raise InputError(f"pith takes no {named(name)}", "leave it out", field=name)
        return self

    @property
    def off_middle_m(self) -> float | None:
        """How far off the middle of an end; None for a mark on the girth. [m]."""
        return 0.0 if self.kind == "pith" and self.from_middle_m is None else self.from_middle_m


def moved_mark(mark: Mark, matrix: FloatArray, before_m: float, after_m: float) -> Mark:
    """Return a mark of a log that was read anew, whose frame may be another; what was on an end stays on one.

    matrix : (4, 4) from the log frame before to the one after. before_m, after_m : the log's lengths.
    """
    x_m, y_m, z_m = (float(v) for v in moved(np.array([mark.x_m, mark.y_m, mark.z_m]), matrix))
    is_on_end = min(mark.x_m, before_m - mark.x_m) < END_FACE_M
    x_m = (0.0 if 2.0 * x_m < after_m else after_m) if is_on_end else min(max(x_m, 0.0), after_m)
    return mark.model_copy(update={"x_m": x_m, "y_m": y_m, "z_m": z_m})


class MarksTyped(Typed):
    """A file of marks."""

    mark: tuple[MarkTyped, ...] = Field(min_length=1, description="The marks.")


@dataclass(frozen=True)
class MarksRead:
    """Marks with the name of the file that they stand in; empty of one that somebody puts on the log by hand."""

    shown: str
    marks: tuple[MarkTyped, ...]


def placed(log: Log, files: Sequence[MarksRead], *, taped: bool) -> tuple[Mark, ...]:
    """Return the marks of all files at their places on a log, each named by its kind and number.

    taped : `at` and `toward_deg` are of the log sheet's own frame, along its stem; else of the log frame.

    Raises InputError, which names file and block, for a place that is not on the log.
    """
    marks: list[Mark] = []
    numbers: Counter[str] = Counter()
    for file in files:
        for block, mark in enumerate(file.marks, start=1):
            numbers[mark.kind] += 1
            try:
                place = _place(log, mark, taped=taped)
            except MarkError as error:
                where = f"{file.shown}: mark[{block}] ({mark.kind}): " if file.shown else ""
                raise InputError(f"{where}{error.text}", error.mend, field=error.field) from None
            marks.append(
                Mark(
                    id=f"{kind_said(mark.kind)} {numbers[mark.kind]}",
                    kind=mark.kind,
                    x_m=float(place[0]),
                    y_m=float(place[1]),
                    z_m=float(place[2]),
                    radius_m=mark.radius_m or 0.0,
                    depth_m=mark.depth_m or 0.0,
                )
            )
    return tuple(marks)


def _place(log: Log, mark: MarkTyped, *, taped: bool) -> FloatArray:
    """Return a mark's place on the surface, (3,), log frame. [m]."""
    # A tape knows nothing of the log frame, which limbs or a bow may turn: look for the place as it was taped.
    to_log = log.scan_to_log if taped else np.eye(4)
    seen = _as_taped(log) if taped else log
    if mark.at_m > seen.length_m + AT_END_M:
        raise MarkError(
            f"{named('at')} must lie on the log, in 0 to {long_length(seen.length_m)}, got {long_length(mark.at_m)}",
            "measure it again from the butt end",
            field="at",
        )
    at_m = min(mark.at_m, seen.length_m)
    if mark.off_middle_m is None:
        return moved(place_on_girth(seen, at_m, mark.toward_deg), to_log)
    if min(at_m, seen.length_m - at_m) > AT_END_M:
        what = "pith is marked where it is seen" if mark.kind == "pith" else f"{named('from_middle')} is for marks"
        raise MarkError(
            f"{what}, on an end: {named('at')} must be 0 or {long_length(seen.length_m)}, got {long_length(at_m)}",
            field="at",
        )
    at_butt = at_m < seen.length_m / 2.0
    if not at_butt and len(log.hearts) > 1:
        raise MarkError(
            "at the top end of a log with a crotch a place off the middle means nothing",
            "mark the butt end instead",
            field="from_middle",
        )
    way = radians(mark.toward_deg)
    inside_m = min(AT_END_M, seen.length_m / 4.0)  # a sawn or scanned end may be ragged
    place = _end_middle(seen, inside_m if at_butt else seen.length_m - inside_m)
    place = moved(place + mark.off_middle_m * np.array([0.0, -sin(way), cos(way)]), to_log)
    # An end that is not square to the axis still counts as the end.
    place[0] = log.outer.bounds_m[0 if at_butt else 1, 0]
    return place


def _as_taped(log: Log) -> Log:
    """Return the log in its sheet's frame."""
    back: FloatArray = np.asarray(np.linalg.inv(log.scan_to_log), dtype=np.float64)
    outer = log.outer.moved(back)
    return replace(log, outer=outer, wood=outer, hearts=tuple(moved(line, back) for line in log.hearts))


def _end_middle(log: Log, at_m: float) -> FloatArray:
    round_it = [place_on_girth(log, at_m, turn_deg) for turn_deg in (0.0, 90.0, 180.0, 270.0)]
    # The middle between up and down is that of the heights, between left and right that of the widths.
    return np.array([round_it[0][0], (round_it[1][1] + round_it[3][1]) / 2, (round_it[0][2] + round_it[2][2]) / 2])


def kind_said(kind: MarkKind) -> str:
    """Return a kind of mark in words."""
    return kind.replace("_", " ")


def idle_marks(marks: Sequence[Mark], mill: Mill, prices: PriceBook) -> tuple[Note, ...]:
    """Return what to tell of marks that change nothing, as mill or price book says nothing for them."""
    kinds = {mark.kind for mark in marks}
    free = [kind for kind in FLAWS if kind in kinds and getattr(prices.deduct, kind) == 0.0]
    if prices.figure.feather_per_board_foot > 0.0 and "bark_pocket" in free:
        free.remove("bark_pocket")  # it takes off figure
    notes = [
        Note(
            "mark_costs_nothing",
            f"The {kind_said(kind)} that you marked costs nothing: the price book takes nothing off for it. Give "
            f"{named(f'deduct.{kind}')} in the price book.",
            bears_on_plan=True,
        )
        for kind in free
    ]
    if "metal" in kinds and mill.metal_keep_out_m == 0.0:
        notes.append(
            Note(
                "no_metal_keep_out",
                "The blade may come as near to the marked metal as it likes, only not through it. Give "
                f"{named('metal_keep_out')} of the mill.",
                bears_on_plan=True,
            )
        )
    return tuple(notes)
