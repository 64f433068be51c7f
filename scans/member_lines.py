"""From a skeleton to members whose radii taper straight: what is known of a log before its side is fitted."""

import numpy as np

from scans.frame import axes_from
from scans.log import FloatArray
from scans.members import TERMS, Members
from scans.skeleton import Skeleton

KNOT_M = 0.1
BLEND_SHARE = 0.15
"""Width over which a limb joins the stem, as a share of the stem's diameter. Ours, no source: the invented
logs are joined by the same share, so that they do not test it."""

_STIFF = 3.0

_UP = np.array([0.0, 0.0, 1.0])


def members_of(skeleton: Skeleton, places_m: FloatArray) -> Members:
    """Return stem and limbs, sawn at their outer ends, which reach as far as the places (N, 3) on them. [m]."""
    meeting = skeleton.meeting_m
    pieces = [skeleton.stem, *skeleton.limbs]
    lines = []
    for k, piece in enumerate(pieces):
        first, last = piece.centres_m[0], piece.centres_m[-1]
        if meeting is not None:
            first, last = (first, meeting) if k == 0 else (meeting, last)
        lines.append((first, last))
    starts, axes, lengths, counts, bends, terms = [], [], [], [], [], []
    for k, (piece, (first, last)) in enumerate(zip(pieces, lines, strict=True)):
        along = (last - first) / np.linalg.norm(last - first)
        frame = axes_from(along, _UP)
        local = (piece.centres_m - first) @ frame.T
        side = (places_m - first) @ frame.T
        radius = float(np.median(piece.radii_m))
        near = np.linalg.norm(side[:, 1:], axis=1) < 1.6 * radius
        low = min(0.0, float(np.quantile(side[near, 0], 0.002))) if meeting is None or k == 0 else 0.0
        whole = float(np.linalg.norm(last - first))
        high = whole if meeting is not None and k == 0 else max(whole, float(np.quantile(side[near, 0], 0.998)))
        begin = first + low * along
        local[:, 0] -= low
        length = high - low
        knots = np.linspace(0.0, length, max(4, int(np.ceil(length / KNOT_M)) + 1))
        fixed = None if meeting is None else (length if k == 0 else 0.0)
        bends.append(_line(local, piece.seen_share, knots, fixed))
        taper = (
            np.polyfit(local[:, 0] - local[:, 0].mean(), piece.radii_m, 1, w=piece.seen_share)
            if len(local) > 5
            else [0.0, radius]
        )
        slope = float(np.clip(taper[0], -0.04, 0.04))
        mean = np.clip(taper[1] + slope * (knots - local[:, 0].mean()), 0.5 * radius, 2.0 * radius)
        term = np.zeros((len(knots), TERMS))
        term[:, 0] = mean
        terms.append(term)
        starts.append(begin)
        axes.append(frame)
        lengths.append(length)
        counts.append(len(knots))
    most = max(counts)
    return Members(
        np.array(starts), np.array(axes), np.array(lengths), np.array(counts, dtype=np.int64),
        np.array([np.pad(bend, ((0, most - len(bend)), (0, 0))) for bend in bends]),
        np.array([np.pad(term, ((0, most - len(term)), (0, 0))) for term in terms]),
        np.full(len(pieces), BLEND_SHARE * 2.0 * float(np.median(skeleton.stem.radii_m))),
        np.array([[meeting is None or k == 0, meeting is None or k > 0] for k in range(len(pieces))]),
        np.array([[[0.0, 0.0, 0.0], [length, 0.0, 0.0]] for length in lengths]),
    )  # fmt: skip


def _line(local_m: FloatArray, trust: FloatArray, knots_m: FloatArray, fixed_m: float | None) -> FloatArray:
    """Offsets (K, 2) at knots of a smooth line past centres (N, 3) given in a member's frame."""
    count = len(knots_m)
    step = knots_m[1] - knots_m[0]
    place = np.clip(local_m[:, 0] / step, 0.0, count - 1.0)
    i = np.minimum(place.astype(int), count - 2)
    rows = np.zeros((len(place), count))
    rows[np.arange(len(place)), i] = 1.0 - (place - i)
    rows[np.arange(len(place)), i + 1] += place - i
    weight = np.sqrt(trust)[:, None]
    bend = _STIFF * (0.1 / step) ** 1.5 * np.diff(np.eye(count), 2, axis=0)
    parts, right = [rows * weight, bend], [local_m[:, 1:] * weight, np.zeros((count - 2, 2))]
    if fixed_m is not None:
        tie = np.zeros((1, count))
        tie[0, 0 if fixed_m == 0.0 else -1] = 3.0
        parts.append(tie)
        right.append(np.zeros((1, 2)))
    return np.asarray(np.linalg.lstsq(np.concatenate(parts), np.concatenate(right), rcond=None)[0])
