"""What a log sheet may say, and one clear line where it may not."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from scans.errors import sheet_error
from scans.messages import long_length, short_length

if TYPE_CHECKING:
    from scans.tape.log_from_sheet import Bow, LogSheet, TapedLimb, TapedSection

LEAST_LENGTH_M, MOST_LENGTH_M = 0.3, 15.0
LEAST_DIAMETER_M, MOST_DIAMETER_M = 0.05, 2.5
FLATTEST = 0.25
"""Least narrow / wide that is still a log."""
FIRST_SECTION_WITHIN_M = 0.15
"""How far up from the butt end the first section may lie. [m]."""
MOST_OUT_DEG = 80.0
MOST_BOW_SHARE = 0.25
"""Widest gap under the string as a share of the length."""
LIMBS_LEAVE_WITHIN_M = 0.3
"""How far apart along the stem the limbs of one fork may leave. [m]."""


def length_slack_m(length_m: float) -> float:
    """How far two readings of one length may differ: 2 % or 5 cm, whichever is more. [m]."""
    return max(0.02 * length_m, 0.05)


def check_bark_ratio(bark_ratio: float, bark_on: bool) -> None:
    """Refuse a ratio of inside to outside diameter that is none, or that differs from 1 without bark."""
    if not 0.5 < bark_ratio <= 1.0:
        raise sheet_error("bark", f"must be over 0.5 and at most 1, not {bark_ratio:g}; give inside / outside diameter")
    if not bark_on and bark_ratio != 1.0:
        raise sheet_error("bark", f"{bark_ratio:g} with the bark off; give 1, or say that the bark is on")


def check_sheet(sheet: LogSheet) -> None:
    """Refuse a sheet that contradicts itself. Raises SheetError."""
    _positive("heart_radius", sheet.heart_radius_m)
    if sheet.length_m is not None:
        _positive("length", sheet.length_m)
    needed = 1 if sheet.limbs else 2
    if len(sheet.sections) < needed:
        raise sheet_error(
            "section",
            f"{len(sheet.sections)} given, a log {'with' if sheet.limbs else 'without'} limbs needs "
            f"{needed} or more; measure across the log at the butt end and at the top end",
        )
    for place, section in _numbered("section", sheet.sections):
        _check_section(place, section)
    _check_order("section", sheet.sections)
    first = sheet.sections[0].at_m
    if first > FIRST_SECTION_WITHIN_M:
        raise sheet_error(
            "section[1].at",
            f"{long_length(first)} from the butt end, must be within "
            f"{short_length(FIRST_SECTION_WITHIN_M)}; "
            "measure one section at the butt end",
        )
    if sheet.limbs:
        _check_limbs(sheet)
    else:
        _check_length(sheet)
    if sheet.bow is not None:
        _check_bow(sheet.bow, _stem_length_m(sheet))


def _numbered(kind: str, sections: tuple[TapedSection, ...]) -> list[tuple[str, TapedSection]]:
    """Sections with the names that messages call them by, counted from 1."""
    return [(f"{kind}[{number}]", section) for number, section in enumerate(sections, start=1)]


def _finite(place: str, value: float) -> None:
    if not np.isfinite(value):
        raise sheet_error(place, f"must be a number, not {value}; correct it")


def _positive(place: str, value_m: float) -> None:
    _finite(place, value_m)
    if value_m <= 0.0:
        raise sheet_error(place, f"must be over 0, not {short_length(value_m)}; correct it")


def _check_section(place: str, section: TapedSection) -> None:
    _finite(f"{place}.at", section.at_m)
    _finite(f"{place}.wide_deg", section.wide_deg)
    if section.at_m < 0.0:
        raise sheet_error(
            f"{place}.at", f"must be 0 or more, not {long_length(section.at_m)}; measure from the butt end"
        )
    across = section.wide_m is not None or section.narrow_m is not None
    if across == (section.girth_m is not None):
        raise sheet_error(place, f"give either wide and narrow, or girth{', not both' if across else ''}")
    for name, value in (("wide", section.wide_m), ("narrow", section.narrow_m), ("girth", section.girth_m)):
        if value is not None:
            _positive(f"{place}.{name}", value)
    wide, narrow = section.diameters_m
    if narrow > wide:
        raise sheet_error(
            f"{place}.narrow",
            f"{short_length(narrow)} is more than wide, {short_length(wide)}; swap them and let "
            "wide_deg follow the wide one",
        )
    if narrow < FLATTEST * wide:
        raise sheet_error(
            f"{place}.narrow",
            f"{short_length(narrow)} is under {FLATTEST:g} of wide, {short_length(wide)}; check both",
        )
    if narrow < LEAST_DIAMETER_M or wide > MOST_DIAMETER_M:
        raise sheet_error(
            f"{place}",
            f"{short_length(wide)} x {short_length(narrow)} across, must be from "
            f"{short_length(LEAST_DIAMETER_M)} to {short_length(MOST_DIAMETER_M)}; check the unit, and that a "
            "girth is not given as a diameter",
        )


def _check_order(kind: str, sections: tuple[TapedSection, ...]) -> None:
    for (_, before), (place, section) in pairwise(_numbered(kind, sections)):
        if section.at_m <= before.at_m:
            raise sheet_error(
                f"{place}.at",
                f"{long_length(section.at_m)} is not beyond the one before, "
                f"{long_length(before.at_m)}; list the sections "
                "in order, each place once",
            )


def _check_plausible_length(place: str, length_m: float) -> None:
    if not LEAST_LENGTH_M <= length_m <= MOST_LENGTH_M:
        raise sheet_error(
            f"{place}",
            f"{long_length(length_m)}, a log is from {long_length(LEAST_LENGTH_M)} to "
            f"{long_length(MOST_LENGTH_M)} long; check the unit",
        )


def _check_length(sheet: LogSheet) -> None:
    """Check the length of a log without limbs."""
    last = sheet.sections[-1].at_m
    if sheet.length_m is None:
        _check_plausible_length(f"section[{len(sheet.sections)}].at", last)
        return
    _check_plausible_length("length", sheet.length_m)
    slack = length_slack_m(sheet.length_m)
    if abs(sheet.length_m - last) > slack:
        raise sheet_error(
            "length",
            f"{long_length(sheet.length_m)}, but the last section is at {long_length(last)}; correct one "
            "of them, or "
            f"measure a section at the top end (they may differ by {short_length(slack)})",
        )


def _stem_length_m(sheet: LogSheet) -> float:
    if sheet.limbs:
        return float(np.mean([limb.leaves_at_m for limb in sheet.limbs_on(None)]))
    return sheet.length_m if sheet.length_m is not None else sheet.sections[-1].at_m


def _check_limbs(sheet: LogSheet) -> None:
    for number, limb in enumerate(sheet.limbs, start=1):
        if limb.on is not None and not 1 <= limb.on < number:
            raise sheet_error(
                f"limb[{number}].on",
                f"{limb.on} is no limb that is listed before it; list a limb before those that leave it, and count "
                "from 1",
            )
    if len(sheet.limbs_on(None)) < 2:
        raise sheet_error(
            "limb",
            "only one given, which is a bend and not a crotch; list every limb that the stem divides into, or "
            "measure the log as one stem with a bow",
        )
    for number, limb in enumerate(sheet.limbs, start=1):
        _check_limb(f"limb[{number}]", limb, sheet)
    for on in (None, *range(1, len(sheet.limbs) + 1)):
        _check_fork(on, [limb.leaves_at_m for limb in sheet.limbs_on(on)])


def _check_fork(on: int | None, leaves: list[float]) -> None:
    """Check the limbs that leave the stem, or a limb, by where they leave. [m]."""
    if len(leaves) == 1:
        raise sheet_error(
            "limb.on",
            f"only one limb leaves limb {on}, which is a bend and not a crotch; list every limb that it divides into, "
            "the part that goes on too",
        )
    if leaves and max(leaves) - min(leaves) > LIMBS_LEAVE_WITHIN_M:
        raise sheet_error(
            "limb.leaves_at",
            f"from {long_length(min(leaves))} to {long_length(max(leaves))}, the limbs of one crotch must leave within "
            f"{short_length(LIMBS_LEAVE_WITHIN_M)}; a limb that divides higher up is listed first, and those that "
            "leave it name it (on = 1)",
        )


def _check_limb(place: str, limb: TapedLimb, sheet: LogSheet) -> None:
    for name, value in (("out_deg", limb.out_deg), ("toward_deg", limb.toward_deg)):
        _finite(f"{place}.{name}", value)
    _positive(f"{place}.leaves_at", limb.leaves_at_m)
    if not 0.0 < limb.out_deg <= MOST_OUT_DEG:
        raise sheet_error(
            f"{place}.out_deg",
            f"must be over 0 and at most {MOST_OUT_DEG:g}, not {limb.out_deg:g}; measure it from the stem's direction",
        )
    if limb.on is None:
        left, last = "the stem", sheet.sections[-1].at_m
    else:
        parent = sheet.limbs[limb.on - 1].sections
        left, last = f"limb {limb.on}", parent[-1].at_m if parent else 0.0
    if limb.leaves_at_m < last - 1e-6:
        raise sheet_error(
            f"{place}.leaves_at",
            f"{long_length(limb.leaves_at_m)}, but {left} has a section at "
            f"{long_length(last)}; {left} ends where its "
            "limbs leave it, so give what lies beyond as limb sections",
        )
    longest = sheet.length_m if sheet.length_m is not None else MOST_LENGTH_M
    if limb.leaves_at_m >= longest:
        raise sheet_error(
            f"{place}.leaves_at",
            f"{long_length(limb.leaves_at_m)} is not under the length, {long_length(longest)}; "
            "a limb leaves the stem before the log ends",
        )
    if not limb.sections:
        raise sheet_error(f"{place}.section", "none given; measure across the limb at its end")
    for name, section in _numbered(f"{place}.section", limb.sections):
        _check_section(name, section)
    _check_order(f"{place}.section", limb.sections)
    if limb.sections[-1].at_m <= 0.0:
        raise sheet_error(
            f"{place}.section.at", "the last is the limb's end and must be over 0; give the limb's length"
        )
    _check_plausible_length(f"{place}.leaves_at", limb.leaves_at_m + limb.sections[-1].at_m)


def _check_bow(bow: Bow, length_m: float) -> None:
    _positive("bow.gap", bow.gap_m)
    _finite("bow.at", bow.at_m)
    _finite("bow.toward_deg", bow.toward_deg)
    if bow.gap_m > MOST_BOW_SHARE * length_m:
        raise sheet_error(
            "bow.gap",
            f"{short_length(bow.gap_m)}, must be at most {MOST_BOW_SHARE:g} of the stem's "
            f"{long_length(length_m)}; check the unit, or "
            "buck so crooked a log first",
        )
    if not 0.0 < bow.at_m < length_m:
        raise sheet_error(
            "bow.at",
            f"{long_length(bow.at_m)}, must be between the stem's ends, 0 and {long_length(length_m)}; "
            "measure from the butt end",
        )
