"""A log in, ranked plans out: the recipe."""

from collections.abc import Callable
from dataclasses import dataclass

from optimizer.cautions import cautions_for
from optimizer.describe import describe
from optimizer.given import Given, price_given
from optimizer.hearts_level import hearts_level
from optimizer.log_found import log_found
from optimizer.marks import with_pith
from optimizer.mill import Mill
from optimizer.no_plan import NoPlanError, both_units, check_log_fits, explain_no_plan
from optimizer.plain_way import plain_way
from optimizer.plan import Mark, NetAtRoll, Plan, PlanDocument, Source, WoodAssumed, Work
from optimizer.prices import PriceBook, menu_for
from optimizer.pricing import Priced, PricedPass
from optimizer.search import Problem, Progress, StoppedBy, ranked, search_stretches
from optimizer.stretch import stretches_of
from optimizer.terms import REACH_MARGIN_M
from optimizer.wood import Wood
from scans.log import Log

__all__ = ["LogGiven", "NoPlanError", "Progress", "Run", "SearchSettings", "plan_log", "price_way"]

DEFAULT_LAYS = 800
LONGER_THAN_BED = (
    "The log is longer than the bed: each plan is for the length that it names, crosscut at both ends. Measure what "
    "is left as a log of its own."
)


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


@dataclass(frozen=True)
class LogGiven:
    """A log with what the user says of it.

    end_trim_m : lost at the butt and at the top. [m] bark_ratio : inside / outside diameter; 1 with the bark off.
    warnings : what the reader of the plan should know first.
    """

    log: Log
    source: Source
    wood: Wood
    end_trim_m: tuple[float, float]
    bark_on: bool
    bark_ratio: float
    cost: float = 0.0
    marks: tuple[Mark, ...] = ()
    warnings: tuple[str, ...] = ()


def plan_log(
    given: LogGiven,
    mill: Mill,
    prices: PriceBook,
    *,
    settings: SearchSettings,
    run: Run,
    on_progress: Callable[[Progress], None] | None = None,
) -> PlanDocument:
    """Plan a log: describe it, search, rank, put the plain way and hearts level beside it, and warn.

    Raises PriceError where the book has nothing for it, MarkError for a mark without a place, NoPlanError where
    no plan is possible.
    """
    started = run.clock()
    whole = _whole(given, mill, prices)
    problems = _stretched(whole)
    warnings = given.warnings if len(problems) == 1 else (*given.warnings, LONGER_THAN_BED)
    for problem in problems:
        check_log_fits(problem, given.wood.log_mass_kg(problem.log.wood.volume_m3, problem.log.outer.volume_m3))

    def stop() -> StoppedBy | None:
        over = settings.seconds is not None and run.clock() - started > settings.seconds
        return "time" if over else None

    found = search_stretches(problems, settings.lays, workers=settings.workers, stop=stop, on_progress=on_progress)
    by_stretch = {_stretch(problem): problem for problem in problems}
    chosen = by_stretch[found.plans[0].stretch_m] if found.plans else problems[0]
    plain = plain_way(chosen)
    best = found.plans
    if plain is not None and plain.slabs and _within_margin(plain.passes, mill):
        # The plain way is a plan like others: nothing shown above it may be worth less.
        best = ranked([*found.plans, plain])
    best = tuple(priced for priced in best if priced.net > 0.0)
    if not best:
        raise explain_no_plan(chosen)

    def described(priced: Priced | None, rank: int = 0) -> Plan | None:
        if priced is None:
            return None
        return describe(by_stretch[priced.stretch_m], given.wood, priced, rank, whole.log.wood.volume_m3)

    plans = tuple(plan for k, priced in enumerate(best, start=1) if (plan := described(priced, k)) is not None)
    return _document(
        given,
        whole,
        run,
        plans,
        plain_way=described(plain),
        hearts_level=described(hearts_level(chosen)),
        value_by_roll=tuple(NetAtRoll(roll_deg=roll, net=net) for roll, net in found.net_by_roll),
        work=Work(
            lays=found.lays,
            stopped_by=found.stopped_by,
            seed=settings.seed,
            seconds=run.clock() - started,
        ),
        warnings=warnings,
    )


def price_way(given: LogGiven, mill: Mill, prices: PriceBook, way: Given, *, run: Run) -> PlanDocument:
    """Price a chosen way, or plan on from passes made; the document holds it as its only plan.

    Raises as plan_log does, and GivenError for a way that contradicts itself.
    """
    started = run.clock()
    whole = _whole(given, mill, prices)
    if len(stretches_of(whole.log.length_m, mill.bed_length_m)) > 1:
        raise NoPlanError(
            f"the log is longer than the bed: {both_units(whole.log.length_m)}; crosscut it, and give the length that "
            "goes on the bed as a log of its own"
        )
    check_log_fits(whole, given.wood.log_mass_kg(whole.log.wood.volume_m3, whole.log.outer.volume_m3))
    priced, notes = price_given(whole, way)
    plain = plain_way(whole)
    log_wood_m3 = whole.log.wood.volume_m3
    return _document(
        given,
        whole,
        run,
        (describe(whole, given.wood, priced, 1, log_wood_m3),),
        plain_way=None if plain is None else describe(whole, given.wood, plain, 0, log_wood_m3),
        hearts_level=None,
        value_by_roll=(),
        work=Work(lays=1, stopped_by="lays", seed=0, seconds=run.clock() - started),
        warnings=(*given.warnings, *notes),
        own_way=True,
    )


def _whole(given: LogGiven, mill: Mill, prices: PriceBook) -> Problem:
    log = with_pith(given.log, given.marks)
    if min(given.end_trim_m) < 0.0 or sum(given.end_trim_m) >= log.length_m:
        raise ValueError(
            f"end_trim must leave some of the {log.length_m:.3g} m log, got {sum(given.end_trim_m):g} m in all"
        )
    return Problem(log, mill, prices, menu_for(prices, given.wood, mill), given.end_trim_m, given.marks)


def _document(
    given: LogGiven,
    whole: Problem,
    run: Run,
    plans: tuple[Plan, ...],
    *,
    plain_way: Plan | None,
    hearts_level: Plan | None,
    value_by_roll: tuple[NetAtRoll, ...],
    work: Work,
    warnings: tuple[str, ...],
    own_way: bool = False,
) -> PlanDocument:
    wood = given.wood
    found = log_found(
        whole.log,
        whole.bodies,
        whole.supports,
        wood,
        given.source,
        bark_on=given.bark_on,
        cost=given.cost,
        marks=given.marks,
    )
    return PlanDocument(
        id=run.id,
        made_at=run.made_at,
        made_with=run.made_with,
        currency=whole.prices.currency,
        log=found,
        mill=whole.mill,
        prices=whole.prices,
        wood=WoodAssumed(
            name=wood.name,
            scientific_name=wood.scientific_name,
            known=wood.known,
            status=wood.status,
            green_density_kg_m3=wood.green_density_kg_m3,
            bark_density_kg_m3=wood.bark_density_kg_m3,
            bark_ratio=given.bark_ratio,
            shrinkage_radial_pct=wood.shrinkage_radial_pct,
            shrinkage_tangential_pct=wood.shrinkage_tangential_pct,
        ),
        plans=plans,
        plain_way=plain_way,
        hearts_level=hearts_level,
        value_by_roll=value_by_roll,
        work=work,
        warnings=warnings,
        cautions=cautions_for(found, whole.mill, plans, wood.name, own_way=own_way),
    )


def _stretched(whole: Problem) -> list[Problem]:
    stretches = stretches_of(whole.log.length_m, whole.mill.bed_length_m)
    if len(stretches) == 1:
        return [whole]
    return [whole.stretch(*stretch) for stretch in stretches]


def _stretch(problem: Problem) -> tuple[float, float]:
    from_m, to_m = problem.log.outer.bounds_m[:, 0]
    return float(from_m), float(to_m)


def _within_margin(passes: tuple[PricedPass, ...], mill: Mill) -> bool:
    return all(p.reach_m <= mill.throat_m - REACH_MARGIN_M for p in passes)
