"""Your own way as typed on the command line, and faces as they were found held against it."""

import re
from collections.abc import Callable
from typing import Annotated

import numpy as np
from pydantic import Field

from optimizer.bed.bodies import manifold_of, polygons_of
from optimizer.bed.outlines import width_profile
from optimizer.documents.mill import Mill
from optimizer.documents.plan import LogFound, Plan
from optimizer.documents.typed import Typed
from optimizer.report.cuts_made import cuts_made, past_crotch_m
from optimizer.search.given import FaceSeen, Given
from scans.log import Solid
from scans.messages import Note, counted, long_length, named, quoted, width
from scans.units import LengthError, parse_length_m
from service.typed.effort import Doubt
from service.typed.errors import InputError
from service.words.units import Units

FACE_OFF_SHARE = 0.1
"""A face that is farther off than this says that the log is not what was measured (our own rule, no source)."""
_FACE = re.compile(r"\s*(?:(?P<order>[0-9]{1,4})\s*:)?(?P<width>.+?)(?:x|×|\bby\b)(?P<length>.+)", re.IGNORECASE)
_BUCK = re.compile(
    r"\s*(?:(?P<end>butt|top)|limb\s*(?P<limb>[1-9][0-9]?))\s*(?:at\b|:)?\s*(?P<at>\S.*?)\s*", re.IGNORECASE
)
_ENDS = {"butt": "butt", "top": "stem"}


class Way(Typed):
    """What somebody chose, as typed: lengths with their unit, or bare numbers in that of the mill's scale."""

    roll_deg: float = Field(ge=-3600, le=3600, description="How far to roll the log, clockwise seen from the butt.")
    heights: str = Field(
        max_length=2000,
        description="Blade heights as the mill's scale reads them, from the top, with commas between.",
        examples=["20, 17 5/8, 15 1/4"],
    )
    shim_butt: str = Field("0", max_length=40, description="What stands under the butt end.", examples=["1 in"])
    shim_top: str = Field("0", max_length=40, description="What stands under the top end.")
    made: int | None = Field(None, ge=1, le=1000, description="So many heights are sawn already: plan the rest anew.")
    seen: tuple[Annotated[str, Field(max_length=100)], ...] = Field(
        (), max_length=50, description="Faces as found, to compare.", examples=[["1: 22 in x 8 ft"]]
    )
    stretch: str = Field(
        "",
        max_length=80,
        description="Of a log longer than the bed, from where to where it lies on it, from the butt end.",
        examples=["2 ft to 11 ft 6 in"],
    )
    buck_at: str = Field(
        "",
        max_length=400,
        description="Where the log is bucked: limbs past the crotch; the butt and the top from the butt end.",
        examples=["limb 1 at 2 ft 4 in, butt at 1 ft"],
    )
    doubt: Doubt = "on"
    units: Units = Field(Units.IMPERIAL, description="What bare numbers are in.")

    def given(self, mill: Mill) -> Given:
        """Return the way in metres above the bunks. Raises InputError, and GivenError where it contradicts itself."""
        units = self.units
        return Given(
            roll_deg=self.roll_deg,
            shim_butt_m=_length_m("shim_butt", self.shim_butt, units),
            shim_top_m=_length_m("shim_top", self.shim_top, units),
            heights_m=tuple(_length_m("heights", part, units) + mill.scale_zero_m for part in self.heights.split(",")),
            made=self.made,
            seen=tuple(_face_seen(text, units) for text in self.seen),
            stretch_m=_stretch_m(self.stretch, units) if self.stretch.strip() else None,
            buck_at=_buck_at(self.buck_at, units) if self.buck_at.strip() else (),
        )


def own_way_name(made: int | None) -> str:
    """Return what to call a way of one's own. made : how many of its passes are sawn, where the rest was planned."""
    if not made:
        return "Your way"
    return f"The rest planned again after {counted(made, 'cut')}"


def _length_m(field: str, text: str, units: Units) -> float:
    try:
        return parse_length_m(text, units.bare_unit)
    except LengthError as error:
        raise InputError(f"{named(field)}: {error.text}", error.mend, field=field) from None


def _stretch_m(text: str, units: Units) -> tuple[float, float]:
    ends = re.split(r"\s+to\s+", text.strip())
    if len(ends) != 2:
        raise InputError(
            f'{named("stretch")} must hold two places along the log, got "{quoted(text)}"',
            'write it as "2 ft to 11 ft 6 in"',
            field="stretch",
        )
    from_m, to_m = (_length_m("stretch", end, units) for end in ends)
    return from_m, to_m


def _buck_at(text: str, units: Units) -> tuple[tuple[str, float], ...]:
    found: dict[str, float] = {}
    for part in re.split("[,;]", text):
        cut = _BUCK.fullmatch(part)
        if cut is None:
            raise InputError(
                f'{named("buck_at")} must hold what is cut and where, got "{quoted(part.strip())}"',
                'write it as "limb 1 at 2 ft 4 in, butt at 1 ft"',
                field="buck_at",
            )
        member = f"limb_{cut['limb']}" if cut["limb"] else _ENDS[cut["end"].lower()]
        if member in found:
            raise InputError(f"{named('buck_at')} cuts the {member.replace('_', ' ')} twice", field="buck_at")
        found[member] = _length_m("buck_at", cut["at"], units)
        if found[member] <= 0.0:
            raise InputError(f"{named('buck_at')} must hold lengths over 0", field="buck_at")
    # Limbs first: they are cut where they are told while the log is whole.
    return tuple(sorted(found.items(), key=lambda cut: (not cut[0].startswith("limb_"), cut[0])))


def buck_at_typed(log: LogFound, plan: Plan, lengths: Callable[[float], str]) -> str:
    """Return what one would type for where a plan bucks its log; nothing where it does not. lengths : writes one."""
    names = {member: end for end, member in _ENDS.items()}
    return ", ".join(
        f"{names[cut.member]} at {lengths(cut.at_m)}"
        if cut.limb is None
        else f"limb {cut.limb} at {lengths(past_crotch_m(log, cut))}"
        for cut in cuts_made(plan, log.length_m)
    )


def _face_seen(text: str, units: Units) -> FaceSeen:
    found = _FACE.fullmatch(text)
    if found is None:
        raise InputError(
            f'{named("seen")} must hold a cut, a width and a length, got "{quoted(text)}"',
            'write it as "1: 22 in x 8 ft"',
            field="seen",
        )
    width_m, length_m = (_length_m("seen", found[name], units) for name in ("width", "length"))
    if width_m <= 0.0 or length_m <= 0.0:
        raise InputError(f'{named("seen")} must hold a width and a length over 0, got "{quoted(text)}"', field="seen")
    return FaceSeen(int(found["order"] or 1), width_m, length_m)


def face_expected(wood: Solid, plan: Plan, order: int) -> FaceSeen:
    """Return the largest face that a pass of a plan opens in the wood (log frame): its widest place and its length.

    Raises InputError for a pass that the plan does not have.
    """
    if not 1 <= order <= len(plan.passes):
        raise InputError(f"{named('seen')} must name one of cuts 1 to {len(plan.passes)}, got {order}", field="seen")
    cut = plan.passes[order - 1]
    matrix = np.array(plan.flipped_log_to_bed if cut.flipped else plan.log_to_bed)
    from_m, to_m = plan.stretch_m
    body = manifold_of(wood).trim_by_plane((1.0, 0.0, 0.0), from_m).trim_by_plane((-1.0, 0.0, 0.0), -to_m)
    pieces = polygons_of(body.transform(matrix[:3]).slice(cut.blade_height_m))
    if not pieces:
        return FaceSeen(order, 0.0, 0.0)
    face = max(pieces, key=lambda piece: piece.area)
    return FaceSeen(order, width_profile(face).most_m(), face.bounds[2] - face.bounds[0])


def compared(seen: FaceSeen, expected: FaceSeen, *, weighed: bool = False) -> Note:
    """Say what was found beside what was expected, and what to do where they differ.

    weighed : whether the plan was weighed by the face already, and says itself whether such a face may be.
    """
    off = [
        f"the {name} is {_off(found_m, said_m)}"
        for name, found_m, said_m in (
            ("width", seen.width_m, expected.width_m),
            ("length", seen.length_m, expected.length_m),
        )
        if abs(found_m - said_m) > FACE_OFF_SHARE * said_m
    ]
    sizes = " against ".join(
        f"{width(face.width_m)} x {long_length(face.length_m)} {what}"
        for face, what in ((seen, "found"), (expected, "expected"))
    )
    if not off:
        as_expected = f"Cut {seen.order}: {sizes}: as expected, to within {100.0 * FACE_OFF_SHARE:.0f}%."
        return Note("face_as_expected", as_expected, bears_on_plan=True)
    what_to_do = "" if weighed else " Measure the log again before you go on."
    return Note("face_off", f"Cut {seen.order}: {sizes}: {' and '.join(off)}.{what_to_do}", bears_on_plan=True)


def _off(found_m: float, said_m: float) -> str:
    if said_m <= 0.0:
        return "not expected at all"
    percent = 100.0 * (found_m / said_m - 1.0)
    return f"{abs(percent):.0f}% {'more' if percent > 0.0 else 'less'}"
