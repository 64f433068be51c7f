"""The search over where to buck a log: all ways scouted, then what is worth it searched well."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from optimizer.problem import Problem
from optimizer.search.bolt_worth import Weigh
from optimizer.search.bucked import Buck, Scouting, bucked_problem, may_be_bucked, ways_to_buck
from optimizer.search.lays import (
    FEWEST_LAYS,
    Found,
    Progress,
    Stop,
    first_answer,
    merged,
    never_stop,
    search,
    search_stretches,
)

FIRST_SHARE = 0.25
SECOND_SHARE = 0.5
AS_IT_CAME_PAYS = 0.97
"""Shares of the lays for the log as it came where bucking pays for certain, and for the second best way to buck it; and
the share of the best that the log as it came must be scouted at to be searched well (our own rules, no source)."""


@dataclass(frozen=True, eq=False)
class BuckedFound:
    """What a search found over all ways to buck a log, and the problems that its plans are of."""

    found: Found
    problems: tuple[Problem, ...]


def search_bucked(
    whole: Problem,
    stretches: Sequence[Problem],
    lays: int,
    buck: Buck,
    weigh: Weigh,
    *,
    workers: int = 2,
    stop: Stop = never_stop,
    on_progress: Callable[[Progress], None] | None = None,
) -> BuckedFound:
    """Search a log as it came, or its stretches where it is longer than the bed, and the best ways to buck it.

    whole : the log as it came. stretches : what of it may go on the bed without bucking limbs; none where nothing may.
    Raises nothing where no plan is found: `found.plans` is empty then.
    """

    def searched(problem: Problem, count: int) -> Found:
        return search(problem, count, workers=workers, stop=stop, on_progress=on_progress)

    def stretched(count: int) -> Found:
        if not stretches:
            return Found((), (), 0, "lays")
        return search_stretches(stretches, count, workers=workers, stop=stop, on_progress=on_progress)

    if not may_be_bucked(whole, buck):
        return BuckedFound(stretched(lays), tuple(stretches))

    def told(done: int, total: int) -> None:
        if on_progress is not None:
            on_progress(Progress("bucking", done, total, None))

    if stretches and on_progress is not None:
        # Ways to buck are weighed before any lay is: an answer to go on by comes first.
        on_progress(first_answer(stretches[0]))
    scouting = Scouting(whole, weigh, lambda: stop() is None, told, workers=workers)
    ways = ways_to_buck(scouting, buck)
    pays = not ways or len(stretches) > 1
    pays = pays or scouting.closer_value(()) > AS_IT_CAME_PAYS * scouting.closer_value(ways[0])
    problems, every = list(stretches), [stretched(lays if pays else max(FEWEST_LAYS, round(FIRST_SHARE * lays)))]
    for k, cuts in enumerate(ways):
        if stop() is not None:
            break
        problem = bucked_problem(whole, cuts, weigh)
        problems.append(problem)
        every.append(searched(problem, lays if k == 0 else max(FEWEST_LAYS, round(SECOND_SHARE * lays))))
    return BuckedFound(merged(every, problems), tuple(problems))
