"""At the mill: what a sawn face tells of which log this is, and the rest planned by it.

Possible logs are weighed by how well the faces that they would show match those found (importance weights: the
likelihood of the measurement, normal errors); the rest of the passes is then the best in the mean over logs drawn by
these weights. What the face tells of how the log was rolled counts too, since each possible log is set a little off.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from optimizer.bed.pricing import Priced
from optimizer.doubt.possible_logs import PossibleLog, PossibleLogs
from optimizer.doubt.possible_net import Heights, Outcomes, outcomes
from optimizer.doubt.report import DOUBT_WIDENED, FIRST_REPORT, REPORT_LOGS, Weighed, drawn
from optimizer.doubt.values import best_average_cuts, lay_values
from optimizer.problem import Problem
from optimizer.search.given import FaceSeen, Given, GivenError, price_given, rules_after
from scans.log import FloatArray
from scans.messages import Note, named
from scans.units import INCH_M

WIDTH_READ_M, LENGTH_READ_M = 0.5 * INCH_M, 2.0 * INCH_M
"""What the width and the length of a face are read to, standard deviation (common practice, no source)."""

PLANNED_LOGS = 24
STRIDE = 2
PLAUSIBLE = 9.2
"""Squared errors of a face's two sizes, summed, that chance leaves under this 99 times in 100."""
FEWEST_LIKELY = 10.0
"""Where fewer logs than this stay likely, the face is trusted less, until so many do."""


@dataclass(frozen=True, eq=False)
class Onward:
    """A way priced in doubt: with what it brings on the logs that stay likely, and what the user should know."""

    priced: Priced
    weighed: Weighed
    notes: tuple[Note, ...]
    samples: int
    plain: Weighed | None = None


def price_given_in_doubt(
    problem: Problem, given: Given, seed: int, workers: int, plain: Priced | None = None
) -> Onward:
    """Price a chosen way on possible logs, or plan on from the passes made, by the faces that they opened.

    plain : the plain way, tried on the same logs.
    Raises as `given.price_given` does, and GivenError for a face of a pass that is not made.
    """
    exact, notes = price_given(problem, given)
    made = len(given.heights_m) if given.made is None else given.made
    for face in given.seen:
        if not 1 <= face.order <= made:
            raise GivenError(
                f"{named('seen')} must be of a cut that is made, 1 to {made}, got {face.order}", field="seen"
            )
    # The same logs as a plan's own report is made on, so that one and the same way has one and the same figures.
    logs = drawn(PossibleLogs(problem, DOUBT_WIDENED), seed, FIRST_REPORT, REPORT_LOGS, workers)
    weights, likely, trusted = face_weights(problem, Heights.of(problem, exact), given.seen, logs)
    if given.seen:
        notes = (*notes, _likely(likely, trusted))
    if given.made is not None:
        exact = _planned_on(problem, exact, given.made, logs, picked(weights, PLANNED_LOGS), workers)
    likely_rows = picked(weights, (4 if given.seen else 1) * len(logs))
    sawn = given.made or 0

    def on_likely(priced: Priced) -> Weighed:
        tried = outcomes(problem, Heights.of(problem, priced, sawn if priced is exact else 0), logs)
        return Weighed(priced, Outcomes(**{name: values[likely_rows] for name, values in vars(tried).items()}))

    return Onward(exact, on_likely(exact), notes, len(logs), None if plain is None else on_likely(plain))


def face_weights(
    problem: Problem, heights: Heights, seen: Sequence[FaceSeen], logs: Sequence[PossibleLog]
) -> tuple[FloatArray, float, bool]:
    """Return weights (N,) of possible logs, their sum 1; how many logs' worth that is; whether any shows such faces."""
    off = np.zeros(len(logs))
    for face in seen:
        shown = outcomes(problem, heights, logs, face.order - 1)
        off += ((shown.face_width_m - face.width_m) / WIDTH_READ_M) ** 2
        off += ((shown.face_length_m - face.length_m) / LENGTH_READ_M) ** 2
    belief = 1.0
    while True:
        weights = np.exp(-0.5 * belief * (off - off.min()))
        weights /= weights.sum()
        likely = float(1.0 / (weights**2).sum())
        if likely >= min(FEWEST_LIKELY, len(logs)):
            return weights, likely, float(off.min()) <= PLAUSIBLE * len(seen)
        belief *= 0.7


def picked(weights: FloatArray, count: int) -> list[int]:
    """Return `count` places drawn by weights, evenly: each as often as its weight says, to within one."""
    at = np.searchsorted(np.cumsum(weights), (np.arange(count) + 0.5) / count)
    return [int(k) for k in np.minimum(at, len(weights) - 1)]


def _planned_on(
    problem: Problem, exact: Priced, made: int, logs: Sequence[PossibleLog], drawn_rows: Sequence[int], workers: int
) -> Priced:
    """Return a way with the passes after those made planned anew, by the mean over the possible logs drawn."""
    rolled = problem.supports.turned(exact.lay.roll_deg)
    rows = [p.row for p in exact.passes if not p.flipped][:made]
    often = Counter(drawn_rows)
    values = lay_values(
        problem,
        rolled,
        exact.lay.tilt_deg,
        [logs[k] for k in often],
        np.array(list(often.values())) / len(drawn_rows),
        exact=True,
        stride=STRIDE,
        workers=workers,
        made_row=rows[-1],
    )
    here = rows[-1] - values.table.lowest_row
    if not 0 <= here < len(values.table.possible):
        return exact
    sawn = rules_after(problem, exact.entries[: made - 1])
    rest = best_average_cuts(values, problem.terms, sawn, here)
    if not rest.rows or rest.rows[0] != rows[-1]:
        return exact
    priced = problem.price_rows(
        exact.lay,
        [*rows, *rest.rows[1:]],
        [*exact.entries[: made - 1], *problem.menu_entries(rest.entries)],
        rest.flipped_rows,
        problem.menu_entries(rest.flipped_entries),
    )
    return problem.as_it_stands(priced)


def _likely(likely: float, trusted: bool) -> Note:
    if not trusted:
        return Note(
            "face_fits_none",
            "That face doesn't fit the log as you measured it: the plan follows the closest match. Measure the face "
            "and "
            "the log again before you go on.",
            bears_on_plan=True,
        )
    return Note(
        "face_fits",
        f"The face found fits about {likely:.0f} of {REPORT_LOGS} versions of your log: the plan follows those.",
        bears_on_plan=True,
    )
