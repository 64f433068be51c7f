"""A log in, ranked plans out: the recipe."""

from collections.abc import Callable
from dataclasses import dataclass

from optimizer.cautions import cautions_for
from optimizer.describe import describe
from optimizer.log_found import log_found
from optimizer.mill import Mill
from optimizer.no_plan import NoPlanError, check_log_fits, explain_no_plan
from optimizer.plain_way import plain_way
from optimizer.plan import NetAtRoll, PlanDocument, Source, WoodAssumed, Work
from optimizer.prices import PriceBook, menu_for
from optimizer.pricing import PricedPass
from optimizer.search import Problem, Progress, StoppedBy, ranked, search
from optimizer.terms import REACH_MARGIN_M
from optimizer.wood import Wood
from scans.log import Log

__all__ = ["NoPlanError", "Progress", "Run", "SearchSettings", "plan_log"]

DEFAULT_LAYS = 800


@dataclass(frozen=True)
class SearchSettings:
    """How long the search goes on.

    lays : about how many lays to price. seconds : when to stop at the latest; None for no limit. gap : not
    built yet. seed : of its random numbers (nothing is random yet). workers : how many cores.
    """

    lays: int = DEFAULT_LAYS
    seconds: float | None = None
    gap: float | None = None
    seed: int = 0
    workers: int = 2

    def __post_init__(self) -> None:
        if self.lays < 1:
            raise ValueError(f"lays must be at least 1, got {self.lays}")
        if self.seconds is not None and not self.seconds > 0.0:
            raise ValueError(f"seconds must be above 0, got {self.seconds:g}")
        if self.gap is not None:
            raise ValueError(f"no bound is proven yet, so gap cannot end the search, got {self.gap:g}; leave it out")
        if self.workers < 1:
            raise ValueError(f"workers must be at least 1, got {self.workers}")


@dataclass(frozen=True)
class Run:
    """What names one run: its id, when and with what it was made, and a clock in seconds."""

    id: str
    made_at: str
    made_with: str
    clock: Callable[[], float]


def plan_log(
    log: Log,
    source: Source,
    mill: Mill,
    prices: PriceBook,
    wood: Wood,
    *,
    end_trim_m: tuple[float, float],
    bark_on: bool,
    bark_ratio: float,
    cost: float,
    settings: SearchSettings,
    run: Run,
    on_progress: Callable[[Progress], None] | None = None,
    warnings: tuple[str, ...] = (),
) -> PlanDocument:
    """Plan a log: describe it, search, rank, put the plain way beside it, and warn.

    Raises PriceError where the book has nothing for it, NoPlanError where no plan is possible.
    """
    started = run.clock()
    if min(end_trim_m) < 0.0 or sum(end_trim_m) >= log.length_m:
        raise ValueError(f"end_trim must leave some of the {log.length_m:.3g} m log, got {sum(end_trim_m):g} m in all")
    problem = Problem(log, mill, prices, menu_for(prices, wood, mill), end_trim_m)
    found_log = log_found(log, problem.bodies, problem.supports, wood, source, bark_on=bark_on, cost=cost)
    check_log_fits(problem, found_log.mass_kg)

    def stop() -> StoppedBy | None:
        over = settings.seconds is not None and run.clock() - started > settings.seconds
        return "time" if over else None

    found = search(problem, settings.lays, workers=settings.workers, stop=stop, on_progress=on_progress)
    plain = plain_way(problem)
    best = found.plans
    if plain is not None and plain.slabs and _within_margin(plain.passes, mill):
        # The plain way is a plan like others: nothing shown above it may be worth less.
        best = ranked(problem, [*found.plans, plain])
    best = tuple(priced for priced in best if priced.net > 0.0)
    if not best:
        raise explain_no_plan(problem)
    plans = tuple(describe(problem, wood, priced, rank) for rank, priced in enumerate(best, start=1))
    plain_plan = None if plain is None else describe(problem, wood, plain, 0)
    return PlanDocument(
        id=run.id,
        made_at=run.made_at,
        made_with=run.made_with,
        currency=prices.currency,
        log=found_log,
        mill=mill,
        prices=prices,
        wood=WoodAssumed(
            name=wood.name,
            scientific_name=wood.scientific_name,
            known=wood.known,
            status=wood.status,
            green_density_kg_m3=wood.green_density_kg_m3,
            bark_density_kg_m3=wood.bark_density_kg_m3,
            bark_ratio=bark_ratio,
            shrinkage_radial_pct=wood.shrinkage_radial_pct,
            shrinkage_tangential_pct=wood.shrinkage_tangential_pct,
        ),
        plans=plans,
        plain_way=plain_plan,
        value_by_roll=tuple(NetAtRoll(roll_deg=roll, net=net) for roll, net in found.net_by_roll),
        work=Work(
            lays=found.lays,
            stopped_by=found.stopped_by,
            seed=settings.seed,
            seconds=run.clock() - started,
        ),
        warnings=warnings,
        cautions=cautions_for(found_log, mill, plans, wood.name),
    )


def _within_margin(passes: tuple[PricedPass, ...], mill: Mill) -> bool:
    return all(p.reach_m <= mill.throat_m - REACH_MARGIN_M for p in passes)
