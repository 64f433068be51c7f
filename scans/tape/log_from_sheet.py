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
from scans.solids.log_from_mesh import BarkRatio
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
    """One of the limbs that the stem divides into, or that a limb does.

    leaves_at_m : where the bark parts, along the stem from the butt, or along the limb that it leaves. [m]
    out_deg : from the direction of what it leaves, 0 to 80. [deg]
    toward_deg : which way it leans, clockwise from upright seen from the butt; from a limb, as if that limb were bent
        back into the stem's direction. [deg]
    sections : one or more; the last is its end, unless it divides. Their `at_m` runs along the limb from where it
        leaves; a `wide_deg` of theirs turns from upright as if the limb were bent back into the stem's direction.
    on : the limb that it leaves, by its place in the sheet, from 1; None for the stem.
    """

    leaves_at_m: float
    out_deg: float
    toward_deg: float
    sections: tuple[TapedSection, ...]
    on: int | None = None


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

    def limbs_on(self, number: int | None) -> tuple[TapedLimb, ...]:
        """Return the limbs that leave the stem (None), or a limb by its place in the sheet, from 1."""
        return tuple(limb for limb in self.limbs if limb.on == number)


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

    def along_of_tape(self, at_m: float) -> float:
        """Return where on its line a place by the tape is. [m]."""
        return at_m

    def lengthwise(self, vector_m: FloatArray) -> float:
        """Return how far along its line a vector (3,) goes. [m]."""
        return float(vector_m[0])

    def body(self, bark_ratio: float, end_m: float) -> Manifold:
        """Return the stem's body up to x = end_m, its diameters times `bark_ratio`.

        Rings lie in planes of x. What was measured square to a bent centre line is longer in such a
        plane, by the secant of the slope, in the direction of the bend.
        """
        at, ovals = _up_to(end_m, self.at_m, self.ovals.scaled(bark_ratio))
        bend, slope = np.interp(at, self.at_m, self.bend_m), np.interp(at, self.at_m, self.slope)
        offsets = _in_space(ovals.offsets_m(), _clockwise(0.0), _clockwise(90.0))
        towards_hollow = offsets @ self.hollow
        offsets += (towards_hollow * (np.hypot(1.0, slope) - 1.0)[:, None])[:, :, None] * self.hollow
        centres = np.stack([at, np.zeros(len(at)), np.zeros(len(at))], axis=1) - bend[:, None] * self.hollow
        return lofted(centres[:, None, :] + offsets)


@dataclass(frozen=True, eq=False)
class _Limb:
    """A limb's straight axis from where the hearts meet, and its rings along it.

    at_m : (N,) from where the hearts meet. leaves_m : where the limb's tape begins. way : (3,) unit direction.
    """

    start_m: FloatArray
    way: FloatArray
    at_m: FloatArray
    ovals: Ovals
    leaves_m: float

    def centre(self, along_m: float) -> FloatArray:
        """Point of its axis, (3,). [m]."""
        return np.asarray(self.start_m + along_m * self.way)

    def direction(self, _: float) -> FloatArray:
        """Return its unit direction, (3,)."""
        return self.way

    def along_of_tape(self, at_m: float) -> float:
        """Return where on its line a place by the tape is. [m]."""
        return self.leaves_m + at_m

    def lengthwise(self, vector_m: FloatArray) -> float:
        """Return how far along its line a vector (3,) goes. [m]."""
        return float(vector_m @ self.way)

    def body(self, bark_ratio: float, end_m: float) -> Manifold:
        """Return the limb's body up to `end_m` along it, its diameters times `bark_ratio`."""
        at, ovals = _up_to(end_m, self.at_m, self.ovals.scaled(bark_ratio))
        up, right = _square_to(self.way)
        centres = self.start_m + at[:, None] * self.way
        return lofted(centres[:, None, :] + _in_space(ovals.offsets_m(), up, right))

    def end_m(self) -> FloatArray:
        """Centre of its end, (3,). [m]."""
        return self.centre(float(self.at_m[-1]))


_Member = _Stem | _Limb


@dataclass(frozen=True, eq=False)
class _Division:
    """Where the stem, or a limb, divides, in the sheet frame.

    on : the limb that divides, from 1; None for the stem. at_m : where the hearts meet, along what divides. meeting_m,
    crotch_m, normal : (3,) that point, where the bark parts, and the normal of the fork's plane.
    """

    on: int | None
    at_m: float
    meeting_m: FloatArray
    crotch_m: FloatArray
    normal: FloatArray


@dataclass(frozen=True, eq=False)
class _Built:
    """A sheet's stem and limbs, and where they divide; limbs in the sheet's order, the stem's division first."""

    stem: _Stem
    limbs: tuple[_Limb, ...]
    divisions: tuple[_Division, ...]

    @property
    def members(self) -> tuple[_Member, ...]:
        return (self.stem, *self.limbs)

    def divided(self, member: int) -> _Division | None:
        """Return where a member divides, None where it does not. member : 0 is the stem, then limbs."""
        return next((division for division in self.divisions if (division.on or 0) == member), None)


def log_from_sheet(sheet: LogSheet, bark_ratio: BarkRatio) -> Log:
    """Return the Log that a sheet describes.

    bark_ratio : inside / outside diameter, 1 with the bark off; or a function that gives it for the mean diameter. [m]

    Sections are ovals square to the stem's or limb's own line; between them diameters follow a curve
    that stays between its neighbours' values. The stem's end faces are square to x. The bow bends the
    stem's centre line so that a string along its hollow side, from end face to end face (for a forked log
    from the butt to where the bark parts), has its widest gap where and as the sheet says. A fork's limbs
    are straight; their axes meet in one point of the stem's centre line, placed so that the surfaces of
    the two limbs with the widest angle between them meet at `leaves_at_m`; a limb's `at_m` is 0 square
    beside that point, and it goes on at its first diameter below its first section. With three limbs or
    more, the Log's fork is that pair's. A limb that divides does so as the stem does; the Log has a fork for
    each. The wood is the same build with all diameters times `bark_ratio`.

    Raises SheetError where the sheet contradicts itself.
    """
    check_sheet(sheet)
    if not callable(bark_ratio):
        check_bark_ratio(bark_ratio, sheet.bark_on)
    built = _built(sheet, _stem(sheet, _stem_end_m(sheet)))
    _check_whole_length(sheet, built)
    ratio = bark_ratio(_mean_diameter_m(built)) if callable(bark_ratio) else bark_ratio
    check_bark_ratio(ratio, sheet.bark_on)
    outer = _whole(built, 1.0)
    wood = outer if ratio == 1.0 else _whole(built, ratio)
    matrix = _tidy(log_frame(outer, np.array([1.0, 0.0, 0.0])))
    hearts = tuple(_moved(line, matrix) for line in _hearts(built))
    _check_limbs_run_on(hearts, matrix)
    outer_solid = solid_from_body(outer).moved(matrix)
    wood_solid = outer_solid if wood is outer else solid_from_body(wood).moved(matrix)
    return Log(
        name=sheet.name,
        outer=outer_solid,
        wood=wood_solid,
        bark_thickness_m=0.5 * (1.0 - ratio) * _mean_diameter_m(built),
        hearts=hearts,
        forks=tuple(_fork(built, division, matrix) for division in built.divisions),
        heart_radius_m=sheet.heart_radius_m,
        scan_to_log=matrix,
        doubt=sheet_doubt(sheet, outer_solid, wood_solid, hearts, tuple(limb.leaves_m for limb in built.limbs)),
    )


def _stem_end_m(sheet: LogSheet) -> float:
    """Where the stem ends: where the bark parts, else the stated length, else the last section."""
    if sheet.limbs:
        return _leaves_at_m(sheet.limbs_on(None))
    return sheet.length_m if sheet.length_m is not None else sheet.sections[-1].at_m


def _leaves_at_m(limbs: tuple[TapedLimb, ...]) -> float:
    """Where limbs of one fork leave, along what they leave. [m]."""
    return float(np.mean([limb.leaves_at_m for limb in limbs]))


def _up_to(end_m: float, at_m: FloatArray, ovals: Ovals) -> tuple[FloatArray, Ovals]:
    """Return rings at places (N,) cut off at `end_m`."""
    at = np.append(at_m[at_m < end_m - 1e-6], end_m)
    mean, *stretch = (np.interp(at, at_m, values) for values in (ovals.mean_m, *ovals.stretch_m.T))
    return at, Ovals(mean, np.stack(stretch, axis=1))


def _to_fork(at: FloatArray, ovals: Ovals, end: float, limbs: tuple[TapedLimb, ...]) -> tuple[FloatArray, Ovals]:
    """Return the sections of what divides into limbs at `end`.

    Above its last section it passes into its limbs: at the crotch it is as thick, across the fork, as the thicker limb.
    """
    if end - at[-1] <= length_slack_m(end):
        return at, ovals
    thickest = max(max(section.diameters_m) for limb in limbs for section in limb.sections[:1])
    last = min(thickest / 2.0, float(ovals.mean_m[-1]))
    return np.append(at, end), Ovals(np.append(ovals.mean_m, last), np.vstack([ovals.stretch_m, np.zeros(2)]))


def _measured(sections: tuple[TapedSection, ...]) -> tuple[FloatArray, Ovals]:
    """Stations (S,) and ovals of sections."""
    diameters = np.array([section.diameters_m for section in sections])
    leans = np.array([section.wide_deg for section in sections])
    return np.array([section.at_m for section in sections]), Ovals.measured(diameters[:, 0], diameters[:, 1], leans)


def _stem(sheet: LogSheet, end: float) -> _Stem:
    """Return the stem's rings from x = 0 to its end."""
    at, ovals = _measured(sheet.sections)
    if sheet.limbs:
        at, ovals = _to_fork(at, ovals, end, sheet.limbs_on(None))
    rings = stations_between(0.0, end, at)
    along = ovals.between(at, rings)
    if sheet.bow is None:
        flat = np.zeros(len(rings))
        return _Stem(rings, along, flat, flat, 0.0)
    toward = sheet.bow.toward_deg
    bend, slope = bent_line(rings, along.reach_m(toward), sheet.bow.gap_m, sheet.bow.at_m)
    return _Stem(rings, along, bend, slope, toward)


def _built(sheet: LogSheet, stem: _Stem) -> _Built:
    """Place every limb on what it leaves."""
    limbs: dict[int, _Limb] = {}
    divisions = []
    for on in (None, *range(1, len(sheet.limbs) + 1)):
        leaving = [k for k, limb in enumerate(sheet.limbs, start=1) if limb.on == on]
        if leaving:
            division, placed = _division(sheet, on, stem if on is None else limbs[on], leaving)
            divisions.append(division)
            limbs |= dict(zip(leaving, placed, strict=True))
    return _Built(stem, tuple(limbs[k] for k in sorted(limbs)), tuple(divisions))


def _division(sheet: LogSheet, on: int | None, parent: _Member, leaving: list[int]) -> tuple[_Division, list[_Limb]]:
    """Place the limbs that leave the stem, or a limb.

    leaving : their places in the sheet, from 1.

    Two straight limbs with axes d1 and d2 from one point, g apart, whose surfaces lie r1 and r2 from
    their axes in their plane, meet at (r2 d1 + r1 d2) / sin g from that point.
    """
    limbs = tuple(sheet.limbs[k - 1] for k in leaving)
    leaves_at = parent.along_of_tape(_leaves_at_m(limbs))
    taped = [_measured(limb.sections) for limb in limbs]
    x = leaves_at
    for _ in range(50):
        # The direction of what divides, where the hearts meet, turns the limbs, which moves where they meet.
        directions = [_leaning(parent.direction(x), limb.out_deg, limb.toward_deg) for limb in limbs]
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
        deeper = leaves_at - parent.lengthwise(to_crotch)
        if abs(deeper - x) < 1e-9:
            break
        x = deeper
        if x < 0.0:
            where = "the butt end" if on is None else f"where limb {on} leaves"
            raise sheet_error(
                "limb.out_deg",
                "limbs this thick and this close together would have their hearts meet "
                f"{short_length(-x)} below {where}; check out_deg, the limbs' diameters and leaves_at",
            )
    meeting = parent.centre(x)
    narrow = float(np.interp(x, parent.at_m, parent.ovals.mean_m - np.linalg.norm(parent.ovals.stretch_m, axis=1)))
    placed = [
        _placed(sheet, number, ovals, (meeting, direction, to_crotch), narrow)
        for number, ovals, direction in zip(leaving, taped, directions, strict=True)
    ]
    return _Division(on, x, meeting, meeting + to_crotch, normal), placed


def _placed(
    sheet: LogSheet,
    number: int,
    taped: tuple[FloatArray, Ovals],
    where: tuple[FloatArray, FloatArray, FloatArray],
    narrow_m: float,
) -> _Limb:
    """Return one limb with its rings, from where the hearts meet to its end.

    where : the meeting point, the limb's direction, and the way from there to the crotch. narrow_m : half of what it
    leaves, where it is narrowest, at the meeting point.
    """
    meeting, direction, to_crotch = where
    at, ovals = taped
    end = float(at[-1])
    onward = sheet.limbs_on(number)
    if onward:
        end = _leaves_at_m(onward)
        at, ovals = _to_fork(at, ovals, end, onward)
    beside_crotch = float(to_crotch @ direction)
    along = stations_between(0.0, beside_crotch + end, beside_crotch + at)
    rings = ovals.between(at, np.maximum(along - beside_crotch, at[0]))
    # Inside what it leaves the limb must not be thicker than that; it reaches its own size at the crotch.
    size = np.linalg.norm(rings.stretch_m[0]) + rings.mean_m[0]
    least = min(1.0, 0.98 * narrow_m / float(size))
    thinned = rings.scaled(np.minimum(1.0, least + (1.0 - least) * along / beside_crotch))
    return _Limb(meeting, direction, along, thinned, beside_crotch)


def _check_whole_length(sheet: LogSheet, built: _Built) -> None:
    """Refuse a stated length that the limbs' ends contradict.

    A tape may read to the middle of the longest limb's end or to its outermost wood: all between agrees.
    """
    if sheet.length_m is None or not built.limbs:
        return
    ends = [limb for k, limb in enumerate(built.limbs, start=1) if built.divided(k) is None]
    least = max(float(limb.end_m()[0]) for limb in ends)
    most = max(float(limb.end_m()[0] + limb.ovals.mean_m[-1] * np.sqrt(1.0 - limb.way[0] ** 2)) for limb in ends)
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


def _whole(built: _Built, bark_ratio: float) -> Manifold:
    """Return the whole log as one body."""
    if not built.limbs:
        return built.stem.body(bark_ratio, float(built.stem.at_m[-1]))
    bodies = []
    for k, member in enumerate(built.members):
        end = float(member.at_m[-1])
        if built.divided(k) is not None:
            # The shoulder that what divides leaves at the crotch wears bark too.
            end -= 0.5 * (1.0 - bark_ratio) * float(member.ovals.diameter_m()[-1])
        body = member.body(bark_ratio, end)
        bodies.append(body if k == 0 else body.trim_by_plane((1.0, 0.0, 0.0), 0.0))
    whole = united(bodies)
    if len(whole.decompose()) != 1:
        raise sheet_error("limb", "the limbs do not join the stem; check leaves_at, out_deg and the diameters")
    # One pass through plain arrays drops the history that the union keeps of its parts.
    return body_from_mesh(*mesh_from_body(whole))


def _hearts(built: _Built) -> list[FloatArray]:
    """Lines of the pith in the sheet frame: the stem's, then one a limb."""
    lines = []
    for k, member in enumerate(built.members):
        division = built.divided(k)
        end = float(member.at_m[-1]) if division is None else division.at_m
        count = max(2, int(np.ceil(end / 0.1)) + 1) if k == 0 else 2
        lines.append(np.stack([member.centre(along) for along in np.linspace(0.0, end, count)]))
    return lines


def _fork(built: _Built, division: _Division, matrix: FloatArray) -> Fork:
    """Return a fork in the log frame."""
    parent = built.members[division.on or 0]
    up = division.crotch_m - division.meeting_m
    height = float(np.linalg.norm(up))
    diameter = float(np.interp(division.at_m, parent.at_m, parent.ovals.diameter_m()))
    return Fork(
        crotch_m=_moved(division.crotch_m, matrix),
        normal=matrix[:3, :3] @ division.normal,
        direction=matrix[:3, :3] @ (up / height),
        diameter_m=diameter,
        below_m=height + diameter,
        above_m=0.0,
    )


def _mean_diameter_m(built: _Built) -> float:
    """Mean diameter along stem and limbs. [m]."""
    total = sum(float(np.trapezoid(member.ovals.diameter_m(), member.at_m)) for member in built.members)
    return total / sum(float(member.at_m[-1] - member.at_m[0]) for member in built.members)


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
