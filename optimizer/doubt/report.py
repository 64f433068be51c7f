"""What plans are worth in doubt: tried on fresh possible logs that took no part in choosing lays and heights."""

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from math import sqrt

import numpy as np

from optimizer.bed.pricing import Priced
from optimizer.documents.plan import Doubt, DoubtSource, FirstFace, Plan
from optimizer.doubt.possible_logs import PossibleLog, PossibleLogs
from optimizer.doubt.possible_net import Heights, Outcomes, outcomes
from optimizer.problem import Problem
from optimizer.search.lays import DISTINCT_ROLL_DEG, MOST_PLANS, TIE, differ, roll_distance_deg, trouble
from scans.log import FloatArray

REPORT_LOGS = 200
SHARE_LOGS = 24
FIRST_REPORT, FIRST_SHARE = 1000, 5000
"""Numbers of the first possible logs of the report and of the shares; those of the choice begin at 0."""
LOW, HIGH = 0.1, 0.9
SAFE = 0.2
"""At what is worth no more than this share of the possible logs, four in five make money."""
LEAST_SHARE = 0.005
TIE_ERRORS = 2.0

DOUBT_WIDENED = 1.0
"""By what the spread of all that is not known of the log is multiplied, so that the range from P10 to P90 holds the
true net about 80 % of the time. On 96 invented scans (tests/benchmarks/doubt.py ranges, seeds 720-743, 780-815 and
900-935) it held 73 % at 0.8, 83 % at 1.0 and 91 % at 1.2."""


@dataclass(frozen=True, eq=False)
class Weighed:
    """A plan and what it brings on the fresh possible logs."""

    priced: Priced
    outcomes: Outcomes

    @property
    def expected(self) -> float:
        """Its net, in the mean."""
        return float(self.outcomes.net.mean())


def is_tie(best: Weighed, other: Weighed) -> bool:
    """Tell whether chance may have parted two plans: by less than twice the standard error of their mean difference.

    Both are tried on the same possible logs, so that what these have in common cancels.
    """
    return _may_be_chance(best.outcomes.net - other.outcomes.net)


def _may_be_chance(off: FloatArray) -> bool:
    error = float(off.std(ddof=1)) / sqrt(len(off)) if len(off) > 1 else 0.0
    return abs(float(off.mean())) <= max(TIE, TIE_ERRORS * error)


def in_order(outcomes_of: Sequence[Weighed]) -> list[Weighed]:
    """Rank plans by what they bring in the mean, and keep those that differ as a sawyer sees it, five at most.

    Of those that chance may have parted from the best one, the least trouble comes first.
    """
    order = sorted(outcomes_of, key=lambda w: -w.expected)
    kept: list[Weighed] = []
    while order and len(kept) < MOST_PLANS:
        tied = [w for w in order if is_tie(order[0], w)]
        best = min(tied, key=lambda w: trouble(w.priced))
        order.remove(best)
        if all(differ(best.priced, other.priced) for other in kept):
            kept.append(best)
    return kept


def turn_is_no_matter(every: Sequence[Weighed]) -> bool:
    """Tell whether the log is best left as it lies, though turned it would bring as much, as far as can be told.

    What it costs to set the log is left out: nobody turns a log for nothing.
    """
    shown = in_order(every)
    if not shown or shown[0].priced.lay.roll_deg % 360.0 != 0.0:
        return False

    def brings(w: Weighed) -> FloatArray:
        return w.outcomes.net + w.priced.set_up_cost

    turned = [w for w in every if roll_distance_deg(w.priced.lay.roll_deg, 0.0) >= DISTINCT_ROLL_DEG]
    return any(_may_be_chance(brings(shown[0]) - brings(w)) for w in turned)


def weighed(problem: Problem, plans: Sequence[Priced], logs: Sequence[PossibleLog], workers: int) -> list[Weighed]:
    """Try plans on possible logs."""

    def one(plan: Priced) -> Weighed:
        return Weighed(plan, outcomes(problem, Heights.of(problem, plan), logs))

    with ThreadPoolExecutor(max_workers=max(1, workers)) as pool:
        return list(pool.map(one, plans))


def drawn(
    possible: PossibleLogs, seed: int, first: int, count: int, workers: int, sources: Sequence[str] | None = None
) -> list[PossibleLog]:
    """Draw possible logs, numbered from `first`."""
    with ThreadPoolExecutor(max_workers=max(1, workers)) as pool:
        return list(pool.map(lambda number: possible.some(seed, [number], sources)[0], range(first, first + count)))


def chances_best(shown: Sequence[Weighed]) -> list[float]:
    """Return on what share of the possible logs each of some plans is worth the most of them."""
    if not shown:
        return []
    best = np.argmax(np.stack([w.outcomes.net for w in shown]), axis=0)
    return [float(np.mean(best == k)) for k in range(len(shown))]


def with_doubt(plan: Plan, of: Weighed, chance_best: float | None) -> Plan:
    """Return a plan as the document shows it, with how far its numbers may be off."""
    low = {name: float(np.quantile(values, LOW)) for name, values in vars(of.outcomes).items()}
    high = {name: float(np.quantile(values, HIGH)) for name, values in vars(of.outcomes).items()}
    return plan.model_copy(
        update={
            "net_expected": of.expected,
            "net_p10": low["net"],
            "net_p90": high["net"],
            "chance_best": chance_best,
            "break_even_log_price": of.expected,
            "break_even_safe": float(np.quantile(of.outcomes.net, SAFE)),
            "board_feet_p10": low["board_feet"],
            "board_feet_p90": high["board_feet"],
            "first_face": _face(plan.first_face, low, high),
        }
    )


def _face(face: FirstFace, low: dict[str, float], high: dict[str, float]) -> FirstFace:
    return face.model_copy(
        update={
            "max_width_m_p10": low["face_width_m"],
            "max_width_m_p90": high["face_width_m"],
            "length_m_p10": low["face_length_m"],
            "length_m_p90": high["face_length_m"],
        }
    )


def doubt_of_plan(possible: PossibleLogs, plan: Priced, seed: int, workers: int) -> Doubt:
    """Return where a plan's doubt comes from: the variance that each source makes alone, over the sum of these."""
    problem = possible.problem
    heights = Heights.of(problem, plan)

    def variance(source: str) -> float:
        logs = drawn(possible, seed, FIRST_SHARE, SHARE_LOGS, 1, (source,))
        return float(np.var(outcomes(problem, heights, logs).net))

    with ThreadPoolExecutor(max_workers=max(1, workers)) as pool:
        variances = dict(zip(possible.sources, pool.map(variance, possible.sources), strict=True))
    total = sum(variances.values())
    shares = {source: variance / total if total > 0.0 else 0.0 for source, variance in variances.items()}
    return Doubt(
        samples=REPORT_LOGS,
        sources=tuple(
            DoubtSource(source=source, share=share)
            for source, share in sorted(shares.items(), key=lambda item: -item[1])
            if share >= LEAST_SHARE
        ),
    )
