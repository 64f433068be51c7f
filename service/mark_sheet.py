"""Marks as people type them, in a log sheet or a file of their own, and their places on the log.

```toml
[[mark]]
kind = "metal"              # metal, knot, rot, crack, pith
at = "3 ft"                 # along the log
toward_deg = 300            # where on the girth, clockwise from upright seen from the butt
radius = "1 in"
depth = "4 in"
```
"""

from collections import Counter
from collections.abc import Sequence
from math import cos, radians, sin
from typing import Literal

import numpy as np
from pydantic import Field, model_validator

from optimizer.marks import MarkError, place_on_girth
from optimizer.plan import Mark
from optimizer.typed import Typed
from scans.log import FloatArray, Log
from service.errors import InputError


class MarkTyped(Typed):
    """A place on the log to look out for."""

    kind: Literal["metal", "knot", "rot", "crack", "pith"] = Field(description="What is there.")
    at_m: float = Field(ge=0, le=60, description="Along the log from the butt end; of pith, 0 or the log's length. [m]")
    toward_deg: float = Field(
        0.0, ge=-360, le=360, description="Where on the girth, from upright clockwise seen from the butt. [deg]"
    )
    radius_m: float | None = Field(None, gt=0, le=1, description="Radius of the rod that it fills; not of pith. [m]")
    depth_m: float | None = Field(None, gt=0, le=5, description="How far it goes inwards; not of pith. [m]")
    from_middle_m: float = Field(
        0.0, ge=0, le=2, description="Of pith alone: how far it lies off the middle of the end, towards toward_deg. [m]"
    )

    @model_validator(mode="after")
    def has_what_its_kind_needs(self) -> "MarkTyped":
        """Ask for the size of a flaw, and for none of pith."""
        sizes = {"radius": self.radius_m, "depth": self.depth_m}
        for name, value in sizes.items():
            if self.kind != "pith" and value is None:
                raise ValueError(f'a {self.kind} needs {name}; add {name} = "2 in"')
            if self.kind == "pith" and value is not None:
                raise ValueError(f"pith takes no {name}; leave it out")
        if self.kind != "pith" and self.from_middle_m:
            raise ValueError(f"from_middle is of pith alone, got it for {self.kind}; leave it out")
        return self


class MarksTyped(Typed):
    """A file of marks."""

    mark: tuple[MarkTyped, ...] = Field(min_length=1, description="The marks.")


def placed(log: Log, typed: Sequence[MarkTyped]) -> tuple[Mark, ...]:
    """Return the marks at their places on a log, each named by its kind and number.

    `at` runs along the stem as it was taped, or along the log as it was found in a mesh. Raises InputError,
    which names the block, for a place that is not on the log.
    """
    marks = []
    numbers: Counter[str] = Counter()
    for block, mark in enumerate(typed, start=1):
        numbers[mark.kind] += 1
        try:
            place = _end_place(log, mark) if mark.kind == "pith" else _girth_place(log, mark)
        except MarkError as error:
            raise InputError(f"[[mark]] {block} ({mark.kind}): {error}") from None
        marks.append(
            Mark(
                id=f"{mark.kind} {numbers[mark.kind]}",
                kind=mark.kind,
                x_m=float(place[0]),
                y_m=float(place[1]),
                z_m=float(place[2]),
                radius_m=mark.radius_m or 0.0,
                depth_m=mark.depth_m or 0.0,
            )
        )
    return tuple(marks)


def _along_log_m(log: Log, at_m: float) -> float:
    # A sheet's own frame may be turned a little in the log's.
    x = float((log.scan_to_log @ np.array([at_m, 0.0, 0.0, 1.0]))[0]) if _from_sheet(log) else at_m
    low, high = log.outer.bounds_m[:, 0]
    slack_m = 0.05
    if not -slack_m <= x - low <= high - low + slack_m:
        raise MarkError(f"at must lie on the log, in 0 to {high - low:.3g} m, got {at_m:.3g} m; look at it again")
    return min(max(x - float(low), 0.0), float(high - low))


def _from_sheet(log: Log) -> bool:
    # A sheet's frame is near the log's own; a scan's may be anywhere.
    return bool(np.allclose(log.scan_to_log, np.eye(4), atol=0.3))


def _girth_place(log: Log, mark: MarkTyped) -> FloatArray:
    return place_on_girth(log, _along_log_m(log, mark.at_m), mark.toward_deg)


def _end_place(log: Log, mark: MarkTyped) -> FloatArray:
    at_m = _along_log_m(log, mark.at_m)
    low, high = (float(x) for x in log.outer.bounds_m[:, 0])
    at_butt = at_m < log.length_m / 2.0
    if min(at_m, log.length_m - at_m) > 0.05 * log.length_m:
        raise MarkError(f"pith is seen on an end: at must be 0 or {log.length_m:.3g} m, got {mark.at_m:.3g} m")
    opposite = [
        place_on_girth(log, 0.0 if at_butt else log.length_m, mark.toward_deg + turn)
        for turn in (0.0, 90.0, 180.0, 270.0)
    ]
    middle = np.mean(opposite, axis=0)
    way = radians(mark.toward_deg)
    y, z = middle[1:] + mark.from_middle_m * np.array([-sin(way), cos(way)])
    return np.array([low if at_butt else high, y, z])
