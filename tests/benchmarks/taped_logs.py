"""Invented logs as a tape and calipers find them, with what people read wrong, and the true ones in the same frame.

Half of them are forks; none has stubs, beside which nobody measures. The errors are those that scans/sheet_doubt.py
reckons with (common practice, no source), so that its ranges are tried on what they do not know: the form between the
sections, lobes, a bow nobody wrote down, ends sawn aslant.
"""

import numpy as np
import shapely
from shapely.ops import polygonize

from optimizer.stations.stations import cut
from scans.invented.simulated_log import LogSettings, simulate_log
from scans.log import Log
from scans.tape.bow import gap_under_string
from scans.tape.log_from_sheet import Bow, LogSheet, TapedLimb, TapedSection, log_from_sheet
from scans.tape.sheet_doubt import (
    BOW_NOT_READ_M,
    BOW_READ_M,
    BOW_TURN_DEG,
    LEAN_READ_DEG,
    OUT_DEG,
    OVAL_READ_M,
    RADIUS_READ_M,
    TAPE_SPREAD,
    TOWARD_DEG,
)

APART_M = 1.0
"""About how far apart people measure across a stem."""
FROM_END_M = 0.03
ROUND = 0.97
"""What share of its hull a section fills where a limb is one by itself."""
LEANS_DEG = np.arange(0.0, 180.0, 5.0)


def taped_log(seed):
    """The log that a sheet makes of an invented one, and the true one."""
    rng = np.random.default_rng([seed, 3])
    true = simulate_log(rng, LogSettings(limbs=2 * (seed % 2), stubs=(0, 0)))
    to_sheet = _sheet_frame(true)
    solid = true.solid.moved(to_sheet)
    hearts = [line @ to_sheet[:3, :3].T + to_sheet[:3, 3] for line in true.hearts]
    tape = 1.0 + TAPE_SPREAD * rng.normal()
    leaves_m = float((to_sheet @ [*true.forks[0].crotch_m, 1.0])[0]) if true.forks else None
    end_m = hearts[0][-1, 0] if leaves_m is None else leaves_m
    # A fork's last section is taken where the stem is still a stem.
    last_m = end_m - FROM_END_M if leaves_m is None else min(0.75 * end_m, hearts[0][-1, 0])
    at_m = np.linspace(FROM_END_M, last_m, max(2, round((last_m - FROM_END_M) / APART_M) + 1))
    sections = tuple(_across(rng, _ring(solid, at), tape * at) for at in at_m)
    sheet = LogSheet(
        name=f"invented {seed}",
        length_m=tape * end_m if leaves_m is None else None,
        bark_on=True,
        sections=sections,
        bow=_bow(rng, solid, at_m[-1] if leaves_m is not None else end_m, tape),
        limbs=tuple(_limb(rng, solid, line, leaves_m, tape) for line in hearts[1:]) if leaves_m is not None else (),
    )
    log = log_from_sheet(sheet, 1.0)
    there = log.scan_to_log.copy()
    there[0, 3] -= solid.moved(there).bounds_m[0, 0]
    lines = (line @ there[:3, :3].T + there[:3, 3] for line in hearts)
    lines = tuple(line[np.concatenate([[True], np.diff(line[:, 0]) > 0])] for line in lines)
    placed = solid.moved(there)
    return log, Log(name="truth", outer=placed, wood=placed, hearts=lines)


def _sheet_frame(true):
    """To the frame of the tape: +x along the stem, the butt's heart at its origin."""
    line = true.hearts[0]
    along = (line[-1] - line[0]) / np.linalg.norm(line[-1] - line[0])
    right = np.cross(along, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right)
    matrix = np.eye(4)
    matrix[:3, :3] = [along, -right, np.cross(right, along)]
    matrix[:3, 3] = -matrix[:3, :3] @ line[0]
    return matrix


def _clockwise(deg):
    return np.array([-np.sin(np.radians(deg)), np.cos(np.radians(deg))])


def _ring(solid, at_m):
    """Points (P, 2) where a plane of x meets the log."""
    return cut(solid, np.array([at_m])).segments[:, :2]


def _across(rng, ring, at_m):
    widths = np.array([np.ptp(ring @ _clockwise(lean)) for lean in LEANS_DEG])
    wide = int(np.argmax(widths))
    narrow = np.ptp(ring @ _clockwise(LEANS_DEG[wide] + 90.0))
    mean = 0.5 * (widths[wide] + narrow) + 2.0 * RADIUS_READ_M * rng.normal()
    half = max(0.0, 0.5 * (widths[wide] - narrow) + 2.0 * OVAL_READ_M * rng.normal())
    lean = LEANS_DEG[wide] + LEAN_READ_DEG * rng.normal()
    return TapedSection(at_m=at_m, wide_m=mean + half, narrow_m=mean - half, wide_deg=lean)


def _bow(rng, solid, end_m, tape):
    """The widest gap under a string, on the side where it is widest; none where nobody would write it down."""
    at_m = np.linspace(0.03, end_m - 0.03, 40)
    rings = [_ring(solid, at) for at in at_m]
    best = (0.0, 0.0, 0.0)
    for toward in np.arange(0.0, 360.0, 15.0):
        surface = np.array([(ring @ _clockwise(toward)).max() for ring in rings])
        other = np.array([(ring @ -_clockwise(toward)).max() for ring in rings])
        gaps = gap_under_string(at_m, surface)
        # A flare alone leaves a gap on both sides.
        hollow = 0.5 * (gaps.max() - gap_under_string(at_m, other).max())
        if hollow > best[0]:
            best = (hollow, toward, float(at_m[np.argmax(gaps)]))
            widest = float(gaps.max())
    if best[0] < BOW_NOT_READ_M:
        return None
    gap_m = max(0.005, widest + BOW_READ_M * rng.normal())
    return Bow(gap_m=gap_m, at_m=tape * best[2], toward_deg=best[1] + BOW_TURN_DEG * rng.normal())


def _limb(rng, solid, line, leaves_m, tape):
    """A limb's lean, and its girth where it leaves and at its end."""
    start, way = line[0], (line[-1] - line[0]) / np.linalg.norm(line[-1] - line[0])
    out = np.degrees(np.arccos(way[0])) + OUT_DEG * rng.normal()
    toward = np.degrees(np.arctan2(-way[1], way[2])) + TOWARD_DEG * rng.normal()
    side = np.cross(way, [0.0, 0.0, 1.0] if abs(way[2]) < 0.9 else [0.0, 1.0, 0.0])
    side /= np.linalg.norm(side)
    matrix = np.eye(4)
    matrix[:3, :3] = [way, side, np.cross(way, side)]
    matrix[:3, 3] = -matrix[:3, :3] @ start
    turned = solid.moved(matrix)
    # At the crotch the limb's own line has gone so far.
    beside_m = (leaves_m - start[0]) * way[0]
    end_m = float(np.linalg.norm(line[-1] - line[0]))
    free = (at for at in np.arange(beside_m + 0.1, end_m - 2.0 * FROM_END_M, 0.05) if _own(turned, at)[1] > ROUND)
    places = (next(free, end_m - 2.0 * FROM_END_M), end_m - FROM_END_M)
    girths = (_own(turned, at)[0] + 2.0 * np.pi * RADIUS_READ_M * rng.normal() for at in places)
    sections = (
        TapedSection(at_m=tape * (at - beside_m), girth_m=girth) for at, girth in zip(places, girths, strict=True)
    )
    return TapedLimb(leaves_at_m=tape * leaves_m, out_deg=out, toward_deg=toward, sections=tuple(sections))


def _own(solid, at_m):
    """Girth of the piece round the axis where a plane of x meets the log, and what share of its hull it fills."""
    lines = shapely.linestrings(cut(solid, np.array([at_m])).segments.reshape(-1, 2, 2))
    pieces = list(polygonize(lines))
    own = min(pieces, key=lambda piece: piece.distance(shapely.Point(0.0, 0.0)))
    return own.convex_hull.length, own.area / own.convex_hull.area
