"""From a log sheet, filled in with a tape and calipers, to a Log.

Sheet frame: +x from the butt end along the stem, x = 0 at the butt end, z up, y left; the centre line's
ends lie on y = z = 0. Angles `toward_deg` and `wide_deg` turn from upright clockwise, seen from the butt.
The Log is in the log frame of the solid so made; `scan_to_log` is the matrix from the sheet frame to it:
the identity for a straight stem, a small turn where limbs or a bow put the axis off the stem's line.
"""

from dataclasses import dataclass

import numpy as np
from manifold3d import Manifold

from scans.errors import sheet_error
from scans.log import HEART_RADIUS_M, FloatArray, Fork, Log
from scans.messages import long_length, short_length
from scans.solids.bodies import body_from_mesh, mesh_from_body, solid_from_body, united
from scans.solids.frame import log_frame
from scans.tape.bow import bent_line
from scans.tape.loft import Ovals, lofted, stations_between
from scans.tape.sheet_checks import check_bark_ratio, check_sheet, length_slack_m
from scans.tape.sheet_doubt import sheet_doubt


@dataclass(frozen=True)
class TapedSection:
    """What was measured across the log at one place.

    at_m : along the stem from the butt end, or along a limb from where it leaves. [m]
    wide_m, narrow_m : the two diameters, or None where a girth is given; one alone means a circle. [m]
    wide_deg : lean of the wide one from upright, clockwise seen from the butt. [deg]
    girth_m : around it, for a circle of girth / pi. [m]
    """

    at_m: float
    wide_m: float | None = None
    narrow_m: float | None = None
    wide_deg: float = 0.0
    girth_m: float | None = None

    @property
    def diameters_m(self) -> tuple[float, float]:
        """Wide and narrow diameter. [m]."""
        if self.girth_m is not None:
            return self.girth_m / np.pi, self.girth_m / np.pi
        wide = self.wide_m if self.wide_m is not None else self.narrow_m
        if wide is None:
            raise sheet_error("section", f"at {long_length(self.at_m)}: give wide and narrow, or girth")
        return wide, self.narrow_m if self.narrow_m is not None else wide


@dataclass(frozen=True)
class Bow:
    """A string along the hollow side of the stem, end to end.

    gap_m : the widest gap under it. [m]
    at_m : where along the stem. [m]
    toward_deg : which way the hollow faces, clockwise from upright seen from the butt. [deg]
    """

    gap_m: float
    at_m: float
    toward_deg: float


@dataclass(frozen=True)
class TapedLimb:
    """One of the limbs that the stem divides into.

    leaves_at_m : where the bark parts, along the stem from the butt. [m]
    out_deg : from the stem's direction, 0 to 80. [deg]
    toward_deg : which way it leans, clockwise from upright seen from the butt. [deg]
    sections : one or more; the last is its end. Their `at_m` runs along the limb from where it leaves; a
        `wide_deg` of theirs turns from upright as if the limb were bent back into the stem's direction.
    """

    leaves_at_m: float
    out_deg: float
    toward_deg: float
    sections: tuple[TapedSection, ...]


@dataclass(frozen=True)
class LogSheet:
    """A log as measured by hand.

    length_m : the whole, limbs included, or None to take it from the sections. [m]
    bark_on : whether the diameters were taken over bark.
    sections : the stem's, butt end first.
    """

    name: str
    length_m: float | None
    bark_on: bool
    sections: tuple[TapedSection, ...]
    bow: Bow | None = None
    limbs: tuple[TapedLimb, ...] = ()
    heart_radius_m: float = HEART_RADIUS_M


@dataclass(frozen=True, eq=False)
class _Stem:
    """Rings of the stem in the sheet frame: places (N,), ovals, and how the centre line bends.

    bend_m : (N,) how far the centre line lies from y = z = 0, away from the hollow.
    slope : (N,) its slope.
    toward_deg : which way the hollow faces.
    """

    at_m: FloatArray
    ovals: Ovals
    bend_m: FloatArray
    slope: FloatArray
    toward_deg: float

    @property
    def hollow(self) -> FloatArray:
        """Unit vector (3,) towards the hollow."""
        return _clockwise(self.toward_deg)

    def centre(self, x_m: float) -> FloatArray:
        """Point of the centre line at x, (3,). [m]."""
        return np.array([x_m, 0.0, 0.0]) - np.interp(x_m, self.at_m, self.bend_m) * self.hollow

    def direction(self, x_m: float) -> FloatArray:
        """Return the unit direction of the centre line at x, (3,)."""
        along = np.array([1.0, 0.0, 0.0]) - np.interp(x_m, self.at_m, self.slope) * self.hollow
        return np.asarray(along / np.linalg.norm(along))

    def body(self, bark_ratio: float, end_m: float) -> Manifold:
        """Return the stem's body up to x = end_m, its diameters times `bark_ratio`.

        Rings lie in planes of x. What was measured square to a bent centre line is longer in such a
        plane, by the secant of the slope, in the direction of the bend.
        """
        inside = self.at_m < end_m - 1e-6
        at = np.append(self.at_m[inside], end_m)
        pick = [np.interp(at, self.at_m, values) for values in (self.ovals.mean_m, *self.ovals.stretch_m.T)]
        ovals = Ovals(pick[0], np.stack(pick[1:], axis=1)).scaled(bark_ratio)
        bend, slope = np.interp(at, self.at_m, self.bend_m), np.interp(at, self.at_m, self.slope)
        offsets = _in_space(ovals.offsets_m(), _clockwise(0.0), _clockwise(90.0))
        towards_hollow = offsets @ self.hollow
        offsets += (towards_hollow * (np.hypot(1.0, slope) - 1.0)[:, None])[:, :, None] * self.hollow
        centres = np.stack([at, np.zeros(len(at)), np.zeros(len(at))], axis=1) - bend[:, None] * self.hollow
        return lofted(centres[:, None, :] + offsets)


@dataclass(frozen=True, eq=False)
class _Limb:
    """A limb's straight axis from where the hearts meet, and its rings along it.

    along_m : (N,) from where the hearts meet.
    """

    start_m: FloatArray
    direction: FloatArray
    along_m: FloatArray
    ovals: Ovals

    def body(self, bark_ratio: float) -> Manifold:
        """Return the limb's body, its diameters times `bark_ratio`."""
        up, right = _square_to(self.direction)
        offsets = _in_space(self.ovals.scaled(bark_ratio).offsets_m(), up, right)
        centres = self.start_m + self.along_m[:, None] * self.direction
        return lofted(centres[:, None, :] + offsets)

    def end_m(self) -> FloatArray:
        """Centre of its end, (3,). [m]."""
        return np.asarray(self.start_m + self.along_m[-1] * self.direction)


@dataclass(frozen=True, eq=False)
class _Division:
    """Where the stem divides: the hearts' meeting point, the crotch, the limbs, in the sheet frame."""

    meeting_m: FloatArray
    crotch_m: FloatArray
    normal: FloatArray
    limbs: tuple[_Limb, ...]


def log_from_sheet(sheet: LogSheet, bark_ratio: float) -> Log:
    """Return the Log that a sheet describes.

    bark_ratio : inside / outside diameter, 1 with the bark off.

    Sections are ovals square to the stem's or limb's own line; between them diameters follow a curve
    that stays between its neighbours' values. The stem's end faces are square to x. The bow bends the
    stem's centre line so that a string along its hollow side, from end face to end face (for a forked log
    from the butt to where the bark parts), has its widest gap where and as the sheet says. A fork's limbs
    are straight; their axes meet in one point of the stem's centre line, placed so that the surfaces of
    the two limbs with the widest angle between them meet at `leaves_at_m`; a limb's `at_m` is 0 square
    beside that point, and it goes on at its first diameter below its first section. With three limbs or
    more, the Log's fork is that pair's. The wood is the same build with all diameters times `bark_ratio`.

    Raises SheetError where the sheet contradicts itself.
    """
    check_sheet(sheet)
    check_bark_ratio(bark_ratio, sheet.bark_on)
    end = _stem_end_m(sheet)
    stem = _stem(sheet, end)
    division = _division(sheet, stem) if sheet.limbs else None
    if division is not None:
        _check_whole_length(sheet, division)
    outer = _whole(stem, division, 1.0)
    wood = outer if bark_ratio == 1.0 else _whole(stem, division, bark_ratio)
    matrix = _tidy(log_frame(outer, np.array([1.0, 0.0, 0.0])))
    hearts = tuple(_moved(line, matrix) for line in _hearts(stem, division))
    _check_limbs_run_on(hearts, matrix)
    outer_solid = solid_from_body(outer).moved(matrix)
    wood_solid = outer_solid if wood is outer else solid_from_body(wood).moved(matrix)
    return Log(
        name=sheet.name,
        outer=outer_solid,
        wood=wood_solid,
        bark_thickness_m=0.5 * (1.0 - bark_ratio) * _mean_diameter_m(stem, division),
        hearts=hearts,
        forks=() if division is None else (_fork(stem, division, matrix),),
        heart_radius_m=sheet.heart_radius_m,
        scan_to_log=matrix,
        doubt=sheet_doubt(sheet, outer_solid, wood_solid, hearts),
    )


def _stem_end_m(sheet: LogSheet) -> float:
    """Where the stem ends: where the bark parts, else the stated length, else the last section."""
    if sheet.limbs:
        return float(np.mean([limb.leaves_at_m for limb in sheet.limbs]))
    return sheet.length_m if sheet.length_m is not None else sheet.sections[-1].at_m


def _measured(sections: tuple[TapedSection, ...]) -> tuple[FloatArray, Ovals]:
    """Stations (S,) and ovals of sections."""
    diameters = np.array([section.diameters_m for section in sections])
    leans = np.array([section.wide_deg for section in sections])
    return np.array([section.at_m for section in sections]), Ovals.measured(diameters[:, 0], diameters[:, 1], leans)


def _stem(sheet: LogSheet, end: float) -> _Stem:
    """Return the stem's rings from x = 0 to its end."""
    at, ovals = _measured(sheet.sections)
    if sheet.limbs and end - at[-1] > length_slack_m(end):
        # Above its last section a dividing stem passes into its limbs: at the crotch it is as thick,
        # across the fork, as the thicker limb.
        thickest = max(max(section.diameters_m) for limb in sheet.limbs for section in limb.sections[:1])
        last = min(thickest / 2.0, float(ovals.mean_m[-1]))
        at = np.append(at, end)
        ovals = Ovals(np.append(ovals.mean_m, last), np.vstack([ovals.stretch_m, np.zeros(2)]))
    rings = stations_between(0.0, end, at)
    along = ovals.between(at, rings)
    if sheet.bow is None:
        flat = np.zeros(len(rings))
        return _Stem(rings, along, flat, flat, 0.0)
    toward = sheet.bow.toward_deg
    bend, slope = bent_line(rings, along.reach_m(toward), sheet.bow.gap_m, sheet.bow.at_m)
    return _Stem(rings, along, bend, slope, toward)


def _division(sheet: LogSheet, stem: _Stem) -> _Division:
    """Place the limbs on the stem.

    Two straight limbs with axes d1 and d2 from one point, g apart, whose surfaces lie r1 and r2 from
    their axes in their plane, meet at (r2 d1 + r1 d2) / sin g from that point.
    """
    leaves_at = float(np.mean([limb.leaves_at_m for limb in sheet.limbs]))
    taped = [_measured(limb.sections) for limb in sheet.limbs]
    x = leaves_at
    for _ in range(50):
        # The stem's direction where the hearts meet turns the limbs, which moves where they meet.
        directions = [_leaning(stem.direction(x), limb.out_deg, limb.toward_deg) for limb in sheet.limbs]
        first, second = _widest_pair(directions)
        d1, d2 = directions[first], directions[second]
        normal = np.cross(d1, d2)
        sine = float(np.linalg.norm(normal))
        if sine < np.sin(np.radians(2.0)):
            raise sheet_error(
                "limb",
                "two limbs run the same way within 2 degrees; check out_deg and toward_deg, "
                "which turns from upright clockwise seen from the butt",
            )
        normal = normal / sine
        r1 = _reach_towards(taped[first], d1, np.cross(normal, d1))
        r2 = _reach_towards(taped[second], d2, np.cross(d2, normal))
        to_crotch = (r2 * d1 + r1 * d2) / sine
        deeper = leaves_at - float(to_crotch[0])
        if abs(deeper - x) < 1e-9:
            break
        x = deeper
        if x < 0.0:
            raise sheet_error(
                "limb.out_deg",
                "limbs this thick and this close together would have their hearts meet "
                f"{short_length(-x)} below the butt end; check out_deg, the limbs' diameters and leaves_at",
            )
    meeting = stem.centre(x)
    limbs = tuple(
        _placed(limb, ovals, meeting, direction, to_crotch, stem)
        for limb, ovals, direction in zip(sheet.limbs, taped, directions, strict=True)
    )
    return _Division(meeting, meeting + to_crotch, normal, limbs)


def _placed(
    limb: TapedLimb,
    taped: tuple[FloatArray, Ovals],
    meeting: FloatArray,
    direction: FloatArray,
    to_crotch: FloatArray,
    stem: _Stem,
) -> _Limb:
    """Return one limb with its rings, from where the hearts meet to its end."""
    at, ovals = taped
    beside_crotch = float(to_crotch @ direction)
    along = stations_between(0.0, beside_crotch + limb.sections[-1].at_m, beside_crotch + at)
    rings = ovals.between(at, np.maximum(along - beside_crotch, at[0]))
    # Inside the stem the limb must not be thicker than the stem; it reaches its own size at the crotch.
    size = np.linalg.norm(rings.stretch_m[0]) + rings.mean_m[0]
    narrow = np.interp(meeting[0], stem.at_m, stem.ovals.mean_m - np.linalg.norm(stem.ovals.stretch_m, axis=1))
    least = min(1.0, 0.98 * float(narrow) / float(size))
    return _Limb(
        meeting, direction, along, rings.scaled(np.minimum(1.0, least + (1.0 - least) * along / beside_crotch))
    )


def _check_whole_length(sheet: LogSheet, division: _Division) -> None:
    """Refuse a stated length that the limbs' ends contradict.

    A tape may read to the middle of the longest limb's end or to its outermost wood: all between agrees.
    """
    if sheet.length_m is None:
        return
    least = max(float(limb.end_m()[0]) for limb in division.limbs)
    most = max(
        float(limb.end_m()[0] + limb.ovals.mean_m[-1] * np.sqrt(1.0 - limb.direction[0] ** 2))
        for limb in division.limbs
    )
    slack = length_slack_m(sheet.length_m)
    if not least - slack <= sheet.length_m <= most + slack:
        raise sheet_error(
            "length",
            f"{long_length(sheet.length_m)}, but leaves_at, out_deg and the limbs' sections put the end "
            "between "
            f"{long_length(least)} and {long_length(most)}; correct one of them (they may differ by "
            f"{short_length(slack)})",
        )


def _check_limbs_run_on(hearts: tuple[FloatArray, ...], matrix: FloatArray) -> None:
    """Refuse a limb that does not run towards the top end in the log frame."""
    turned = np.degrees(np.arccos(np.clip(matrix[0, 0], -1.0, 1.0)))
    for number, line in enumerate(hearts[1:], start=1):
        if (np.diff(line[:, 0]) <= 0.0).any():
            raise sheet_error(
                f"limb[{number}].out_deg",
                f"the limbs turn the log's axis by {turned:.0f} degrees from "
                "the stem, so that this one "
                "runs back towards the butt end; check out_deg and the limbs' lengths, or buck the limb",
            )


def _whole(stem: _Stem, division: _Division | None, bark_ratio: float) -> Manifold:
    """Return the whole log as one body."""
    end = float(stem.at_m[-1])
    if division is None:
        return stem.body(bark_ratio, end)
    # The shoulder that a thick stem leaves at the crotch wears bark too.
    shoulder = 0.5 * (1.0 - bark_ratio) * float(stem.ovals.diameter_m()[-1])
    bodies = [stem.body(bark_ratio, end - shoulder)]
    bodies += [limb.body(bark_ratio).trim_by_plane((1.0, 0.0, 0.0), 0.0) for limb in division.limbs]
    whole = united(bodies)
    if len(whole.decompose()) != 1:
        raise sheet_error("limb", "the limbs do not join the stem; check leaves_at, out_deg and the diameters")
    # One pass through plain arrays drops the history that the union keeps of its parts.
    return body_from_mesh(*mesh_from_body(whole))


def _hearts(stem: _Stem, division: _Division | None) -> list[FloatArray]:
    """Lines of the pith in the sheet frame: the stem's, then one a limb."""
    end = float(stem.at_m[-1]) if division is None else float(division.meeting_m[0])
    at = np.linspace(0.0, end, max(2, int(np.ceil(end / 0.1)) + 1))
    lines = [np.stack([stem.centre(x) for x in at])]
    if division is not None:
        lines += [np.stack([division.meeting_m, limb.end_m()]) for limb in division.limbs]
    return lines


def _fork(stem: _Stem, division: _Division, matrix: FloatArray) -> Fork:
    """Return the fork in the log frame."""
    up = division.crotch_m - division.meeting_m
    height = float(np.linalg.norm(up))
    diameter = float(np.interp(division.meeting_m[0], stem.at_m, stem.ovals.diameter_m()))
    return Fork(
        crotch_m=_moved(division.crotch_m, matrix),
        normal=matrix[:3, :3] @ division.normal,
        direction=matrix[:3, :3] @ (up / height),
        diameter_m=diameter,
        below_m=height + diameter,
        above_m=0.0,
    )


def _mean_diameter_m(stem: _Stem, division: _Division | None) -> float:
    """Mean diameter along stem and limbs. [m]."""
    parts = [(stem.at_m, stem.ovals)]
    if division is not None:
        parts += [(limb.along_m, limb.ovals) for limb in division.limbs]
    total = sum(float(np.trapezoid(ovals.diameter_m(), at)) for at, ovals in parts)
    return total / sum(float(at[-1] - at[0]) for at, _ in parts)


def _widest_pair(directions: list[FloatArray]) -> tuple[int, int]:
    """Return the indices of the two directions with the widest angle between them."""
    pairs = [(i, j) for i in range(len(directions)) for j in range(i + 1, len(directions))]
    return min(pairs, key=lambda pair: float(directions[pair[0]] @ directions[pair[1]]))


def _reach_towards(taped: tuple[FloatArray, Ovals], direction: FloatArray, towards: FloatArray) -> float:
    """How far a limb's first oval reaches from its axis in a direction square to it. [m]."""
    up, right = _square_to(direction)
    angle = np.degrees(np.arctan2(towards @ right, towards @ up))
    first = Ovals(taped[1].mean_m[:1], taped[1].stretch_m[:1])
    return float(first.reach_m(float(angle))[0])


def _clockwise(toward_deg: float) -> FloatArray:
    """Return the unit vector (3,) across the log, from upright (+z) clockwise seen from the butt: 90 is -y."""
    angle = np.radians(toward_deg)
    return np.array([0.0, -np.sin(angle), np.cos(angle)])


def _turn_from_x(direction: FloatArray) -> FloatArray:
    """Return the least rotation (3, 3) that takes +x to a unit direction (not -x)."""
    cross = np.cross([1.0, 0.0, 0.0], direction)
    k = np.array([[0.0, -cross[2], cross[1]], [cross[2], 0.0, -cross[0]], [-cross[1], cross[0], 0.0]])
    return np.asarray(np.eye(3) + k + k @ k / (1.0 + direction[0]))


def _leaning(stem_direction: FloatArray, out_deg: float, toward_deg: float) -> FloatArray:
    """Return the unit direction (3,) of a limb."""
    out = np.radians(out_deg)
    along = np.cos(out) * np.array([1.0, 0.0, 0.0]) + np.sin(out) * _clockwise(toward_deg)
    return np.asarray(_turn_from_x(stem_direction) @ along)


def _square_to(direction: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Up and right (3,) of a section square to a direction."""
    turn = _turn_from_x(direction)
    return turn @ _clockwise(0.0), turn @ _clockwise(90.0)


def _in_space(offsets: FloatArray, up: FloatArray, right: FloatArray) -> FloatArray:
    """Ring corners (N, M, 2), up and right, as (N, M, 3) vectors."""
    return np.asarray(offsets[:, :, :1] * up + offsets[:, :, 1:] * right)


def _moved(points: FloatArray, matrix: FloatArray) -> FloatArray:
    """Points (..., 3) under a rigid (4, 4) matrix."""
    return np.asarray(points @ matrix[:3, :3].T + matrix[:3, 3])


def _tidy(matrix: FloatArray) -> FloatArray:
    """Return the matrix with what is below a thousandth of a millimetre made nothing."""
    return np.eye(4) if np.abs(matrix - np.eye(4)).max() < 1e-6 else matrix
