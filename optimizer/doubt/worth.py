"""What would pay to be surer: what a measurement is worth, before it is made (preposterior analysis).

H. Raiffa and R. Schlaifer, Applied Statistical Decision Theory, 1961 (from memory): a measurement is worth what the
best choice after it brings in the mean, less what the best choice without it brings. Here the choices are the plans
that were weighed; a possible log gives the reading that would be taken on it, errors and all, and what each plan
brings. What a reading tells of each plan's net is a regression over the possible logs (M. Strong, J. Oakley and A.
Brennan, Medical Decision Making, 2014, from memory); it is fitted on four fifths of them and chosen by on the last
fifth, in turn, so that chance does not count as gain. New plans that a reading would lead to are left out, so that the
gains are rather too small.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from optimizer.documents.plan import WouldPay
from optimizer.doubt.possible_logs import HEART, SIZE, UNSEEN, PossibleLog, PossibleLogs
from optimizer.doubt.report import Weighed
from optimizer.stations.stations import Rings
from scans.log import FloatArray
from scans.messages import long_length

SCAN_MINUTES, TAPE_MINUTES, GIRTH_MINUTES, CALIPER_MINUTES, HEART_MINUTES = 20.0, 3.0, 5.0, 5.0, 5.0
"""What each takes two people at the log (common practice, no source)."""

SCAN_READ_M, TAPED_SPREAD, GIRTH_READ_M, CALIPER_READ_M, HEART_READ_M = 0.008, 0.002, 0.019, 0.005, 0.01
"""What each is read to, standard deviation; the tape's as a share of the length (common practice, no source)."""

LEAST_UNSEEN = 0.05
CALIPER_STEP_M = 0.4
_PLACES = 300
_WIDTHS = 36
_COURSES = 6
_FOLDS = 5
_RIDGE = 10.0


@dataclass(frozen=True, eq=False)
class _Reading:
    """Something to measure: what it takes, and (N, F) what would be read on each possible log.

    kind : of several of one kind, the one that gains the most is told.
    """

    kind: str
    action: str
    minutes: float
    read: FloatArray


def would_pay(
    possible: PossibleLogs, plans: Sequence[Weighed], logs: Sequence[PossibleLog], seed: int
) -> tuple[WouldPay, ...]:
    """Return what would pay more than its minutes cost, the greatest gain first.

    plans : that were tried on `logs`, best first in the mean.
    """
    nets = np.stack([w.outcomes.net for w in plans])
    found: dict[str, WouldPay] = {}
    for reading in _readings(possible, logs, np.random.default_rng([seed, 7])):
        gain, error = gain_of(nets, reading.read)
        if gain - error <= possible.problem.mill.money(reading.minutes) or gain <= 0.0:
            continue
        if reading.kind not in found or found[reading.kind].gain < gain:
            found[reading.kind] = WouldPay(action=reading.action, gain=gain, minutes=reading.minutes)
    return tuple(sorted(found.values(), key=lambda way: -way.gain))


def gain_of(nets: FloatArray, read: FloatArray) -> tuple[float, float]:
    """Return what choosing by a reading gains in the mean, and the standard error of that.

    nets : (A, N) of plans on possible logs, the best in the mean first. read : (N, F) what would be read on each.
    """
    scale = read.std(axis=0)
    used = (read - read.mean(axis=0))[:, scale > 0.0] / scale[scale > 0.0]
    if used.shape[1] == 0:
        return 0.0, 0.0
    terms = np.concatenate([np.ones((len(used), 1)), used, used**2 - 1.0], axis=1)
    ridge = _RIDGE * np.eye(terms.shape[1])
    ridge[0, 0] = 0.0
    gains = np.zeros(nets.shape[1])
    fold = np.arange(nets.shape[1]) % _FOLDS
    for k in range(_FOLDS):
        fit, try_on = fold != k, fold == k
        slopes = np.linalg.solve(terms[fit].T @ terms[fit] + ridge, terms[fit].T @ nets[:, fit].T)
        told = (terms[try_on] @ slopes).T
        chosen = np.argmax(told, axis=0)
        gains[try_on] = nets[:, try_on][chosen, np.arange(int(try_on.sum()))] - nets[0, try_on]
    return float(gains.mean()), float(gains.std() / np.sqrt(len(gains)))


def _readings(possible: PossibleLogs, logs: Sequence[PossibleLog], rng: np.random.Generator) -> list[_Reading]:
    problem, log = possible.problem, possible.whole.log
    found: list[_Reading] = []
    if UNSEEN in possible.sources and log.doubt is not None and (log.not_seen_share or 0.0) > LEAST_UNSEEN:
        form = np.stack([one.draw.form for one in logs]) * possible.widened
        unseen = np.flatnonzero(~log.face_seen) if log.face_seen is not None else np.arange(len(log.outer.faces))
        places = log.outer.faces[unseen[:: max(1, len(unseen) // _PLACES)], 0]
        out_m = form @ log.doubt.outer_modes_m[places].astype(np.float64).T
        out_m += rng.normal(0.0, SCAN_READ_M, out_m.shape)
        left, spread, _ = np.linalg.svd(out_m - out_m.mean(axis=0), full_matrices=False)
        action = "Roll the log over and scan the side that was not seen"
        found.append(_Reading("scan", action, SCAN_MINUTES, left[:, :_COURSES] * spread[:_COURSES]))
    if SIZE in possible.sources and log.face_seen is not None and log.doubt is not None:
        size = log.doubt.scale_spread * possible.widened * np.array([one.draw.size for one in logs])
        read = size + rng.normal(0.0, TAPED_SPREAD, len(logs))
        found.append(_Reading("tape", "Tape the log's length and give it with the scan", TAPE_MINUTES, read[:, None]))
    if HEART in possible.sources and not any(mark.kind == "pith" for mark in possible.whole.marks):
        read = possible.heart_off_m * np.stack([one.draw.hearts[0] for one in logs])
        read += rng.normal(0.0, HEART_READ_M, read.shape)
        found.append(_Reading("heart", "Find the heart on the butt end and mark it", HEART_MINUTES, read))
    from_m, to_m = (float(x) for x in problem.log.outer.bounds_m[:, 0])
    count = max(1, round((to_m - from_m) / CALIPER_STEP_M) - 1)
    crotch_m = min((float(fork.crotch_m[0]) for fork in problem.log.forks), default=np.inf)
    for x_m in np.linspace(from_m, to_m, count + 2)[1:-1]:
        if log.face_seen is not None and x_m < crotch_m:
            girth = np.array([_girth_m(one.stations.outer, one.stations.x_m, float(x_m)) for one in logs])
            girth += rng.normal(0.0, GIRTH_READ_M, len(logs))
            action = f"Tape around the trunk {long_length(float(x_m))} from the butt, and give that girth with the scan"
            found.append(_Reading("girth", action, GIRTH_MINUTES, girth[:, None]))
            continue
        across = np.array([_across_m(one.stations.outer, one.stations.x_m, float(x_m)) for one in logs])
        across += rng.normal(0.0, CALIPER_READ_M, across.shape)
        over = ", across all limbs, outside to outside" if x_m > crotch_m else ""
        action = f"Measure {long_length(float(x_m))} from the butt{over}, once top-to-bottom and once side-to-side"
        found.append(_Reading("caliper", action, CALIPER_MINUTES, across))
    return found


def _across_m(rings: Rings, x_m: FloatArray, at_m: float) -> tuple[float, float]:
    """Return how wide the log is at a place along it, level and upright."""
    ring = _ring_at(rings, x_m, at_m)
    return (float(np.ptp(ring[:, 0])), float(np.ptp(ring[:, 1]))) if len(ring) else (0.0, 0.0)


def _girth_m(rings: Rings, x_m: FloatArray, at_m: float) -> float:
    """Return what a tape reads around the log at a place along it: pi times its mean width (Cauchy, from memory)."""
    ring = _ring_at(rings, x_m, at_m)
    turns = np.linspace(0.0, np.pi, _WIDTHS, endpoint=False)
    return float(np.pi * np.ptp(ring @ [np.cos(turns), np.sin(turns)], axis=0).mean()) if len(ring) else 0.0


def _ring_at(rings: Rings, x_m: FloatArray, at_m: float) -> FloatArray:
    """Return (V, 2) the corners of the outline nearest to a place along the log."""
    i = int(np.argmin(np.abs(x_m - at_m)))
    return rings.segments[rings.offsets[i] : rings.offsets[i + 1], :2]
