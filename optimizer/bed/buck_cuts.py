"""Where a log is bucked: a limb square to its heart, the butt and any stem square to the axis."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scans.log import FloatArray, Fork, Log
from scans.messages import Refusal, long_length

AIM_M = 0.1
"""A saw is set square to how the heart runs so far to either side of the cut (our own rule, no source)."""
SAME_POINT_M = 1e-9


class BuckError(Refusal):
    """A cut that cannot be made there."""


@dataclass(frozen=True)
class BuckCut:
    """One crosscut with a chainsaw; log frame.

    member : "butt", "stem", or "limb_1", "limb_2" and so on, in the order of the limbs' hearts.
    at_m : from the butt end along log x; of a limb along its heart from where the hearts meet. [m]
    point_m : (3,) on the cut. [m] normal : (3,) unit vector towards what is cut off.
    """

    member: str
    at_m: float
    point_m: tuple[float, float, float]
    normal: tuple[float, float, float]

    @property
    def limb(self) -> int | None:
        """Which of the hearts is cut: 1 for the first limb; None for the butt and the stem."""
        return int(self.member.removeprefix("limb_")) if self.member.startswith("limb_") else None

    def beyond_m(self, points_m: FloatArray) -> FloatArray:
        """Return how far beyond the cut points (..., 3) lie; what is kept is below 0. [m]."""
        return np.asarray((points_m - np.array(self.point_m)) @ np.array(self.normal))


def butt_cut(log: Log, at_m: float) -> BuckCut:
    """Return the cut square to the axis that takes off the butt so far from its end. [m]."""
    x = float(log.outer.bounds_m[0, 0]) + at_m
    return BuckCut("butt", at_m, (x, 0.0, 0.0), (-1.0, 0.0, 0.0))


def stem_cut(log: Log, at_m: float) -> BuckCut:
    """Return the cut square to the axis that takes off all that is farther from the butt end. [m]."""
    x = float(log.outer.bounds_m[0, 0]) + at_m
    return BuckCut("stem", at_m, (x, 0.0, 0.0), (1.0, 0.0, 0.0))


def limb_cut(log: Log, limb: int, at_m: float) -> BuckCut:
    """Return the cut through a limb square to its heart, so far along it from where the hearts meet. [m].

    limb : from 1. Raises BuckError where the log has no such limb, or where its heart is shorter.
    """
    line = _heart_of(log, limb)
    along = along_m(line)
    if not 0.0 < at_m < along[-1]:
        raise BuckError(
            f"limb {limb} has its heart from 0 to {long_length(float(along[-1]))}, and no cut at {long_length(at_m)}"
        )
    before, behind = (_at(line, along, float(np.clip(at_m + off, 0.0, along[-1]))) for off in (-AIM_M, AIM_M))
    way = (behind - before) / np.linalg.norm(behind - before)
    point = _at(line, along, at_m)
    return BuckCut(f"limb_{limb}", at_m, _triple(point), _triple(way))


def cut_at(log: Log, member: str, at_m: float) -> BuckCut:
    """Return a cut as it is told: of the butt or the stem from the butt end, of a limb past the crotch. [m].

    Raises BuckError as limb_cut does.
    """
    if not member.startswith("limb_"):
        return butt_cut(log, at_m) if member == "butt" else stem_cut(log, at_m)
    limb = int(member.removeprefix("limb_"))
    from_m, to_m = limb_leaves_m(log, limb), limb_length_m(log, limb)
    if from_m + at_m >= to_m:
        raise BuckError(f"limb {limb} ends {long_length(to_m - from_m)} past the crotch, before {long_length(at_m)}")
    return limb_cut(log, limb, from_m + at_m)


def limb_length_m(log: Log, limb: int) -> float:
    """Return how long a limb's heart is, from where the hearts meet. [m]."""
    return length_along_m(_heart_of(log, limb))


def limb_leaves_m(log: Log, limb: int) -> float:
    """Return where along a limb's heart a cut square to it first runs clear of the crotch. [m]."""
    return leaves_m(_heart_of(log, limb), [fork.crotch_m for fork in log.forks])


def leaves_m(line: FloatArray, crotches_m: Sequence[FloatArray]) -> float:
    """Return where along a limb's heart (P, 3) it is nearest to its crotch, the one nearest to where it begins. [m]."""
    if not crotches_m:
        return 0.0
    own = min(crotches_m, key=lambda crotch_m: float(np.linalg.norm(crotch_m - line[0])))
    steps = np.diff(line, axis=0)
    shares = np.clip(((own - line[:-1]) * steps).sum(axis=1) / (steps**2).sum(axis=1), 0.0, 1.0)
    nearest = line[:-1] + shares[:, None] * steps
    at = int(np.argmin(np.linalg.norm(nearest - own, axis=1)))
    return float(along_m(line)[at] + shares[at] * np.linalg.norm(steps[at]))


def from_butt_m(hearts: Sequence[FloatArray], cut: BuckCut) -> float:
    """Return how far a cut is from the butt end by a tape along the stem's heart, and then along the limb's. [m]."""
    return cut.at_m if cut.limb is None else length_along_m(hearts[0]) + cut.at_m


def length_along_m(line: FloatArray) -> float:
    """Return how long a line (P, 3) is. [m]."""
    return float(along_m(line)[-1])


def along_m(line: FloatArray) -> FloatArray:
    """Return how far each point of a line (P, 3) is from its first, along it. [m]."""
    return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])


def resampled(line: FloatArray, step_m: float) -> FloatArray:
    """Return points (Q, 3) along a line, its ends too, no more than a step apart. [m]."""
    along = along_m(line)
    places = np.linspace(0.0, along[-1], max(2, int(np.ceil(along[-1] / step_m)) + 1))
    return np.stack([np.interp(places, along, line[:, k]) for k in range(3)], axis=1)


def kept_hearts(hearts: Sequence[FloatArray], cut: BuckCut) -> tuple[FloatArray, ...]:
    """Return what a cut leaves of the heart lines; a line that it takes away whole is left out."""
    if cut.limb is None:
        x = cut.point_m[0]
        low, high = (x, np.inf) if cut.member == "butt" else (-np.inf, x)
        lines = [between_x(line, low, high) for line in hearts]
        return tuple(line for line in lines if len(line) > 1)
    return tuple(_up_to(line, 0.0, cut.at_m) if k == cut.limb else line for k, line in enumerate(hearts))


def kept_forks(forks: Sequence[Fork], cut: BuckCut) -> tuple[Fork, ...]:
    """Return the forks that a cut leaves; one through a limb leaves all."""
    return tuple(fork for fork in forks if cut.limb is not None or float(cut.beyond_m(fork.crotch_m)) < 0.0)


def lost_hearts(hearts: Sequence[FloatArray], cut: BuckCut) -> tuple[FloatArray, ...]:
    """Return the parts of the heart lines beyond a cut."""
    if cut.limb is None:
        x = cut.point_m[0]
        low, high = (-np.inf, x) if cut.member == "butt" else (x, np.inf)
        lines = [between_x(line, low, high) for line in hearts]
    else:
        lines = [_up_to(hearts[cut.limb], cut.at_m, np.inf)]
    return tuple(line for line in lines if len(line) > 1)


def between_x(line: FloatArray, low: float, high: float) -> FloatArray:
    """Return the part of a line (P, 3) between two places along the log, no point of it twice. [m]."""
    return _part(line, line[:, 0], low, high)


def _up_to(line: FloatArray, from_m: float, to_m: float) -> FloatArray:
    return _part(line, along_m(line), from_m, to_m)


def _part(line: FloatArray, places: FloatArray, low: float, high: float) -> FloatArray:
    from_m, to_m = max(low, places[0]), min(high, places[-1])
    if from_m >= to_m:
        return np.zeros((0, 3))
    inner = line[(places > from_m) & (places < to_m)]
    points = np.concatenate([_at(line, places, from_m)[None], inner, _at(line, places, to_m)[None]])
    apart = np.linalg.norm(np.diff(points, axis=0), axis=1) > SAME_POINT_M
    return np.asarray(points[np.concatenate([[True], apart])])


def _heart_of(log: Log, limb: int) -> FloatArray:
    if not 1 <= limb < len(log.hearts):
        raise BuckError(f"the log has no limb {limb} whose heart is known")
    return log.hearts[limb]


def _at(line: FloatArray, places: FloatArray, place: float) -> FloatArray:
    return np.array([np.interp(place, places, line[:, k]) for k in range(3)])


def _triple(values: FloatArray) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])
