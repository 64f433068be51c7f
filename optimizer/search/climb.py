"""Climbing from a lay to better ones beside it, by steps of roll and tilt."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol, TypeVar

from optimizer.bed.lay import Lay
from optimizer.problem import Problem
from optimizer.standing.rolled import Rolled

LEAST_TILT_STEP_DEG = 1e-4
"""Shims are not set finer (our own rule, no source)."""


class LayTried(Protocol):
    """A lay and what it is worth."""

    @property
    def rolled(self) -> Rolled:
        """The log at its roll."""

    @property
    def lay(self) -> Lay:
        """How it lies."""

    @property
    def net(self) -> float:
        """What it is worth, by whatever measure the climb goes."""


Tried = TypeVar("Tried", bound=LayTried)


@dataclass(frozen=True)
class Steps:
    """How a climb goes on. [deg].

    roll_deg, tilt_deg : the first steps; both halve together. finest_roll_deg : the last step of roll. most : lays
    tried at the most. thorough : whether all steps of a size are tried from the same lay, and a size that helped once
    more; else each size is tried once, from the best lay so far.
    """

    roll_deg: float
    tilt_deg: float
    finest_roll_deg: float
    most: int
    thorough: bool


def climb(
    problem: Problem,
    start: Tried,
    price: Callable[[Rolled, float, float], Tried | None],
    steps: Steps,
    goes_on: Callable[[], bool] = lambda: True,
) -> list[Tried]:
    """Climb from a lay by steps of roll and tilt that halve; return all lays tried.

    price : works out a lay, given as the log at its roll, the tilt [deg], and the best net so far, below which it need
    not be followed up; None where nothing comes of it. goes_on : asked before each step; False ends the climb.
    """
    tried: list[Tried] = []
    best = start
    roll_deg, tilt_deg = steps.roll_deg, steps.tilt_deg
    while roll_deg >= steps.finest_roll_deg and len(tried) < steps.most:
        moves = [(roll_deg, 0.0), (-roll_deg, 0.0)]
        if tilt_deg > LEAST_TILT_STEP_DEG:
            moves += [(0.0, tilt_deg), (0.0, -tilt_deg)]
        centre, helped = best, False
        for move in moves:
            if len(tried) >= steps.most or not goes_on():
                return tried
            beside = _beside(problem, centre if steps.thorough else best, *move)
            one = None if beside is None else price(*beside, best.net)
            if one is None:
                continue
            tried.append(one)
            if one.net > best.net:
                best, helped = one, True
        if not (helped and steps.thorough):
            roll_deg *= 0.5
            tilt_deg *= 0.5
    return tried


def _beside(problem: Problem, centre: LayTried, roll_deg: float, tilt_deg: float) -> tuple[Rolled, float] | None:
    """Return the lay a step from another; None where posts and shims allow none, or it is the same."""
    rolled = centre.rolled if roll_deg == 0.0 else problem.supports.turned((centre.lay.roll_deg + roll_deg) % 360.0)
    limits = problem.tilt_range_deg(rolled)
    if limits is None:
        return None
    # A turn keeps how far the log is shimmed out of its resting tilt.
    shimmed_deg = centre.lay.tilt_deg - centre.rolled.resting_tilt_deg + tilt_deg
    at_deg = min(max(rolled.resting_tilt_deg + shimmed_deg, limits[0]), limits[1])
    if roll_deg == 0.0 and abs(at_deg - centre.lay.tilt_deg) < 1e-9:
        return None
    return rolled, at_deg
