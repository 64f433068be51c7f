"""From a skeleton to members whose radii taper straight: what is known of a log before its side is fitted.

Limbs open away from the stem, by which a fork's stem is told from its limbs, however short one of them was cut.
"""

import numpy as np

from scans.fit.centre_lines import Member
from scans.fit.line_frames import evenly, frames_along, lengths_along, smooth_line
from scans.fit.members import TERMS, Members
from scans.fit.skeleton import Skeleton
from scans.log import FloatArray

KNOT_M = 0.1
BLEND_SHARE = 0.15
"""Width over which a limb joins the stem, as a share of the stem's diameter. Ours, no source: the invented
logs are joined by the same share, so that they do not test it."""

_STEEPEST_TAPER = 0.04


def members_of(skeleton: Skeleton, places_m: FloatArray) -> Members:
    """Return stem and limbs, sawn at their outer ends, which reach as far as the places (N, 3) on them. [m]."""
    forked = skeleton.meeting_m is not None
    pieces = [skeleton.stem, *skeleton.limbs]
    sawn = np.array([[not forked or k == 0, not forked or k > 0] for k in range(len(pieces))])
    lines = [_line(piece, skeleton.meeting_m, k == 0) for k, piece in enumerate(pieces)]
    blend = BLEND_SHARE * 2.0 * float(np.median(skeleton.stem.radii_m))
    reaching = []
    for piece, line, open_ends in zip(pieces, lines, sawn, strict=True):
        alone = _put_together([(piece, line)], open_ends[None], blend)
        at = alone.places(places_m)
        near = at.off_m[:, 0] < 0.6 * float(np.median(piece.radii_m))
        low, high = np.quantile(at.along_m[near, 0], [0.002, 0.998]) if near.any() else (0.0, alone.lengths_m[0])
        length = float(alone.lengths_m[0])
        knots = np.linspace(0.0, length, len(line))
        low = min(0.0, float(low)) if open_ends[0] else 0.0
        high = max(length, float(high)) if open_ends[1] else length
        wanted = np.linspace(low, high, max(4, int(np.ceil((high - low) / KNOT_M)) + 1))
        ends = alone.frames[0, [0, len(line) - 1], 0]
        reaching.append(
            np.stack([np.interp(wanted, knots, line[:, k]) for k in range(3)], axis=1)
            + np.minimum(wanted, 0.0)[:, None] * ends[0]
            + np.maximum(wanted - length, 0.0)[:, None] * ends[1]
        )
    return _put_together(list(zip(pieces, reaching, strict=True)), sawn, blend)


def _line(piece: Member, meeting: FloatArray | None, stem: bool) -> FloatArray:
    """Points (K, 3) of a smooth line past a piece's centres, from or to the place where it meets the others."""
    centres = piece.centres_m
    if meeting is not None:
        centres = np.concatenate([centres, meeting[None]] if stem else [meeting[None], centres])
    chord = centres[-1] - centres[0]
    chord /= np.linalg.norm(chord)
    # Lengths along the chord first, which noise does not lengthen, and then along the smooth line.
    along = (centres - centres[0]) @ chord
    own = along[:-1] if stem and meeting is not None else along[1:] if meeting is not None else along
    low, high = min(0.0, float(along.min())), float(along.max())
    for _ in range(3):
        knots = np.linspace(low, high, max(4, int(np.ceil((high - low) / KNOT_M)) + 1))
        tied = {} if meeting is None else {len(knots) - 1 if stem else 0: meeting}
        line = smooth_line(own, piece.centres_m, piece.seen_share, knots, tied)
        length = lengths_along(line)
        own = np.interp(own, knots, length)
        low, high = 0.0, float(length[-1])
    return evenly(line, len(line))


def _put_together(parts: list[tuple[Member, FloatArray]], sawn: np.ndarray, blend: float) -> Members:
    """Members along lines (K, 3), each with the taper of its piece."""
    counts = np.array([len(line) for _, line in parts], dtype=np.int64)
    most, members = int(counts.max()), len(parts)
    centres, frames = np.zeros((members, most, 3)), np.zeros((members, most, 3, 3))
    terms, cuts = np.zeros((members, most, TERMS)), np.zeros((members, 2, 3))
    lengths = np.array([lengths_along(line)[-1] for _, line in parts])
    for m, (piece, line) in enumerate(parts):
        centres[m, : counts[m]], frames[m, : counts[m]] = line, frames_along(line)
        terms[m, : counts[m], 0] = _taper(piece, line)
        cuts[m, 1, 0] = lengths[m]
    return Members(centres, frames, lengths, counts, terms, np.full(members, blend), sawn, cuts)


def _taper(piece: Member, line: FloatArray) -> FloatArray:
    """Radii (K,) at a line's points: the straight taper of a piece's circles. [m]."""
    along = lengths_along(line)
    chord = (line[-1] - line[0]) / np.linalg.norm(line[-1] - line[0])
    # Places by the chord: no line of a log is so crooked that its taper would be another by it.
    at = np.interp((piece.centres_m - line[0]) @ chord, np.maximum.accumulate((line - line[0]) @ chord), along)
    radius = float(np.median(piece.radii_m))
    slope, middle = np.polyfit(at - at.mean(), piece.radii_m, 1, w=piece.seen_share) if len(at) > 5 else (0.0, radius)
    slope = float(np.clip(slope, -_STEEPEST_TAPER, _STEEPEST_TAPER))
    return np.clip(middle + slope * (along - at.mean()), 0.5 * radius, 2.0 * radius)
