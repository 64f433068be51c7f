"""A log in, ranked plans out: the recipe."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Literal

from optimizer.bed.buck_cuts import BuckCut, BuckError, cut_at
from optimizer.bed.cut_back import CutBack
from optimizer.bed.marks import with_pith
from optimizer.bed.pricing import Priced, PricedPass
from optimizer.bed.sawn_layers import kept_out_m
from optimizer.bed.stretch import clear_of_metal, stretches_of
from optimizer.bound.proof import Proven, prove, why_unproven
from optimizer.documents.mill import Mill
from optimizer.documents.plan import (
    Bound,
    Doubt,
    LevelWhy,
    Mark,
    NetAtRoll,
    OneThickness,
    PlainWhy,
    Plan,
    PlanDocument,
    SlabSet,
    Source,
    WoodAssumed,
    Work,
)
from optimizer.documents.prices import PriceBook, PriceError, menu_for
from optimizer.doubt.choice import CHOICE_LOGS, chosen_in_doubt
from optimizer.doubt.possible_logs import PossibleLog, PossibleLogs
from optimizer.doubt.report import (
    DOUBT_WIDENED,
    FIRST_REPORT,
    REPORT_LOGS,
    Weighed,
    chances_best,
    doubt_of_plan,
    drawn,
    in_order,
    turn_is_no_matter,
    weighed,
    with_doubt,
)
from optimizer.doubt.seen import price_given_in_doubt
from optimizer.doubt.values import best_average_cuts, lay_values
from optimizer.doubt.worth import would_pay
from optimizer.problem import Problem, SetAsked, support_rules
from optimizer.report.cautions import cautions_for
from optimizer.report.describe import describe
from optimizer.report.log_found import log_found
from optimizer.report.tally_said import tally_said
from optimizer.search.bolt_worth import Weigh, numbered, worth_of
from optimizer.search.bucked import Buck, may_be_bucked
from optimizer.search.bucked_search import search_bucked
from optimizer.search.given import Given, GivenError, price_given
from optimizer.search.hearts_level import hearts_level
from optimizer.search.lays import (
    BestSoFar,
    Found,
    Progress,
    StoppedBy,
    as_it_lies,
    is_as_it_lies,
    ranked,
)
from optimizer.search.no_plan import NoPlanError, check_log_fits, explain_no_plan
from optimizer.search.one_thickness import in_one_thickness
from optimizer.search.plain_way import off_habit_deg, plain_way, why_none, why_stopped
from optimizer.stations.terms import REACH_MARGIN_M
from optimizer.wood.woods import Wood
from scans.log import Log
from scans.messages import Note, long_length, named, short_length

__all__ = ["BestSoFar", "LogGiven", "NoPlanError", "Progress", "Run", "SearchSettings", "plan_log", "price_way"]

DEFAULT_LAYS = 800
SAME_PLACE_M = 0.0065
"""Places along a log that differ by less are one: lengths along it are shown to half an inch, or a centimetre, so that
one that is typed as it was read may be off by a quarter of an inch."""
LONGER_THAN_BED = Note(
    "longer_than_bed",
    "The log is longer than the bed: each plan is for the length that it names. The rest was looked at only roughly: "
    "measure it as a log of its own.",
    bears_on_plan=True,
)

UNTURNED = 3
"""Of how many plans, the best in the mean, the cuts are tried on the log as it lies, too."""
LEAST_OFF_DEG = 0.5
"""A smaller turn than this is none that anybody sees (our own rule, no source)."""
ROLL_NO_MATTER = Note(
    "roll_no_matter",
    "Turning the log does not matter here: turned another way, it brings no more that can be told.",
    bears_on_plan=True,
)
ONE_STRETCH = Note(
    "one_stretch",
    "Measuring errors were weighed on the length that is worth the most on the log as measured. Other lengths were "
    "compared on that log alone, and are not shown.",
    bears_on_plan=True,
)


@dataclass(frozen=True)
class SearchSettings:
    """How long the search goes on.

    lays : about how many lays to price. seconds : when to stop at the latest; None for no limit. gap : go on
    proving until the best net is known to be so near the bound, as a share of it; None for as much as costs little.
    seed : of its random numbers: the possible logs. workers : how many cores.
    doubt : whether to choose and rank by the mean over the logs that this one may turn out to be. Off here, so that the
    search alone can be measured and checked; whoever plans for a user (the command line, the service) turns it on.
    buck : which cuts of the log are looked at before it goes on the bed: "best" all, "limbs" those alone, "no" none.
    Off here for the same reason.
    asked : a set that plans must have, if any can.
    widened : by what the spread of all that is not known of the log is multiplied; more for one that is known by less
    than a log sheet.
    """

    lays: int = DEFAULT_LAYS
    seconds: float | None = None
    gap: float | None = None
    seed: int = 0
    workers: int = 2
    doubt: bool = False
    buck: Buck = "no"
    asked: SetAsked | None = None
    widened: float = DOUBT_WIDENED

    def __post_init__(self) -> None:
        if self.lays < 1:
            raise ValueError(f"lays must be at least 1, got {self.lays}")
        if self.seconds is not None and not self.seconds > 0.0:
            raise ValueError(f"seconds must be above 0, got {self.seconds:g}")
        if self.gap is not None and not 0.0 < self.gap < 1.0:
            raise ValueError(f"gap must lie between 0 and 1, got {self.gap:g}")
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
    cost, haul, fee_received : what is paid for the log and for bringing it, and got for taking it; no plan hangs on it.
    warnings : what the reader of the plan should know first.
    """

    log: Log
    source: Source
    wood: Wood
    end_trim_m: tuple[float, float]
    bark_on: bool
    bark_ratio: float
    cost: float = 0.0
    haul: float = 0.0
    fee_received: float = 0.0
    marks: tuple[Mark, ...] = ()
    warnings: tuple[Note, ...] = ()

    def weigh(self, log: Log) -> float:
        """Return what a log of this wood weighs green, bark included. [kg]."""
        return self.wood.log_mass_kg(log.wood.volume_m3, log.outer.volume_m3)


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

    With a set asked for, the plans have it, and the document says what is best without; where none has it, they are
    those without.

    Raises PriceError where the book has nothing for it, or not the set's thickness, MarkError for a mark without a
    place, NoPlanError where no plan is possible.
    """
    asked = settings.asked
    if asked is None:
        return _plan_log(given, mill, prices, settings, run, on_progress)
    _check_asked(asked, _whole(given, mill, prices))
    # Searched twice, each time half as long where there is a limit.
    settings = replace(settings, seconds=None if settings.seconds is None else 0.5 * settings.seconds)
    without = _plan_log(given, mill, prices, replace(settings, asked=None), run, on_progress)
    try:
        with_set = _plan_log(given, mill, prices, settings, run, on_progress)
    except NoPlanError:
        with_set = None
    return _with_set(without, with_set, asked)


def _check_asked(asked: SetAsked, problem: Problem) -> None:
    """Refuse a set of a thickness without a price. Raises PriceError."""
    quarters = [entry.quarters for entry in problem.menu]
    if asked.quarters not in quarters:
        raise PriceError(
            f"{named('set')} asks for {asked.quarters}/4, which your price book has no price for",
            f"ask for one of {', '.join(f'{one}/4' for one in quarters)}, or add a price",
            field="set",
        )


def _with_set(without: PlanDocument, with_set: PlanDocument | None, asked: SetAsked) -> PlanDocument:
    """Return what was planned with a set, and what that is to be held against."""

    def has_it(plan: Plan) -> bool:
        return sum(slab.quarters == asked.quarters for slab in plan.slabs) >= asked.count

    def worth(plan: Plan) -> float:
        return plan.net if plan.net_expected is None else plan.net_expected

    free = without.plans[0]
    if has_it(free) and (with_set is None or worth(free) >= worth(with_set.plans[0])):
        # The best plan has it by itself.
        kept = tuple(plan for plan in without.plans if has_it(plan))
        ranked_again = tuple(plan.model_copy(update={"rank": k}) for k, plan in enumerate(kept, start=1))
        with_set = without.model_copy(update={"plans": ranked_again})
    if with_set is None:
        slabs = f"{asked.count} slabs" if asked.count > 1 else "a slab"
        text = f"No plan gives {slabs} of {asked.quarters}/4 from this log: these plans do without the set."
        note = Note("no_set", text, bears_on_plan=True)
        return without.model_copy(update={"warnings": (*without.warnings, note)})
    best = max(free, with_set.plans[0], key=worth)
    found = SlabSet(
        count=asked.count, quarters=asked.quarters, net_without=best.net, net_without_expected=best.net_expected
    )
    lays = without.work.lays + (0 if with_set.work is without.work else with_set.work.lays)
    seconds = max(without.work.seconds, with_set.work.seconds)
    work = with_set.work.model_copy(update={"lays": lays, "seconds": seconds})
    return with_set.model_copy(update={"set_": found, "work": work})


def _plan_log(
    given: LogGiven,
    mill: Mill,
    prices: PriceBook,
    settings: SearchSettings,
    run: Run,
    on_progress: Callable[[Progress], None] | None,
) -> PlanDocument:
    started = run.clock()
    on_progress = _with_best_so_far(on_progress)
    whole = replace(_whole(given, mill, prices), asked=settings.asked)
    problems = _stretched(whole, given.weigh)
    warnings = given.warnings if len(problems) == 1 else (*given.warnings, LONGER_THAN_BED)
    try:
        for problem in problems:
            check_log_fits(problem, given.weigh(problem.log))
    except NoPlanError:
        # What does not go on the bed as it came may do so bucked.
        if not may_be_bucked(whole, settings.buck):
            raise
        problems = []

    def stop() -> StoppedBy | None:
        over = settings.seconds is not None and run.clock() - started > settings.seconds
        return "time" if over else None

    warnings += bunks_assumed(mill)

    searched = search_bucked(
        whole,
        problems,
        settings.lays,
        settings.buck,
        given.weigh,
        workers=settings.workers,
        stop=stop,
        on_progress=on_progress,
    )
    found = searched.found
    by_cuts = {problem.cuts: problem for problem in searched.problems}
    if not by_cuts:
        check_log_fits(whole, given.weigh(whole.log))
    chosen = by_cuts[found.plans[0].buck_cuts] if found.plans else next(iter(by_cuts.values()))
    # Nobody bucks a log by habit that goes on the bed as it came.
    habit = whole if whole.cuts in by_cuts else chosen
    plain = plain_way(habit)

    def checked(priced: Priced) -> Priced | None:
        return by_cuts[priced.buck_cuts].checked(priced)

    best = found.plans
    if plain is not None and plain.slabs and _within_margin(plain.passes, mill) and habit.gives_set(plain):
        # The plain way is a plan like others: nothing shown above it may be worth less.
        best = ranked([*found.plans, plain], checked)
    best = tuple(priced for priced in best if priced.net > 0.0)
    if not best and settings.asked is not None:
        raise NoPlanError("no plan has the set", field="set")
    if not best:
        raise explain_no_plan(chosen)
    if plain is None:
        warnings = (*warnings, why_none(habit, stop))
    compared = _compared(habit, plain)
    warnings += _off_habit(habit, compared)
    level, level_why = hearts_level(_without_set(habit))
    if level is None and habit is not chosen:
        bucked_level, _ = hearts_level(_without_set(chosen))
        level, level_why = (level, level_why) if bucked_level is None else (bucked_level, None)
    if level is not None and whole.gives_set(level):
        # Ranked like any plan.
        best = ranked([*best, level], checked)
    nets = [priced.net for priced in (*found.plans, plain, level) if priced is not None]
    bolt = by_cuts[best[0].buck_cuts]
    unproven = why_unproven(bolt.prices)
    proven = _proven(bolt, max(nets), settings, stop, on_progress) if unproven is None else None
    if unproven is not None:
        text = f"How much better a plan could be is not proven: that is not worked out for slabs counted {unproven}."
        warnings = (*warnings, Note("no_bound", text))
    doubtful = None
    if settings.doubt:
        doubtful = _weigh(by_cuts, found, best, [plain, level], settings, stop, on_progress)
        best = tuple(w.priced for w in doubtful.shown)
        warnings = (*warnings, *doubtful.notes)

    def described(priced: Priced | None, rank: int = 0) -> Plan | None:
        if priced is None:
            return None
        plan = describe(by_cuts[priced.buck_cuts], given.wood, priced, rank, whole.log.wood.volume_m3)
        return plan if doubtful is None else doubtful.told(plan, priced)

    one = _one_thickness(by_cuts[best[0].buck_cuts], best[0]) if doubtful is None else doubtful.one_thickness
    # What doubt brought may be worth more on the log as given than the search's own.
    best_net = max(*nets, *(priced.net for priced in best))
    with ThreadPoolExecutor(max_workers=settings.workers) as pool:
        *told, told_plain, told_level = pool.map(described, (*best, plain, level), (*range(1, len(best) + 1), 0, 0))
    plans = tuple(plan for plan in told if plan is not None)
    return _document(
        given,
        whole,
        run,
        plans,
        kind="searched",
        plain_way=told_plain,
        compared=compared,
        hearts_level=told_level,
        hearts_level_why=None if level_why is None else LevelWhy(kind=level_why.kind, over_m=level_why.over_m),
        value_by_roll=tuple(NetAtRoll(roll_deg=roll, net=net) for roll, net in found.net_by_roll),
        work=Work(
            lays=found.lays,
            stopped_by=proven.reason if proven is not None and found.stopped_by == "lays" else found.stopped_by,
            seed=settings.seed,
            seconds=run.clock() - started,
        ),
        warnings=warnings,
        doubt=None if doubtful is None else doubtful.doubt,
        bound=None if proven is None else Bound(upper_net=max(proven.upper_net, best_net), gap=proven.gap(best_net)),
        one_thickness=one,
    )


def _without_set(problem: Problem) -> Problem:
    # What was made once of a log stays with it where nothing changes.
    return problem if problem.asked is None else replace(problem, asked=None)


def _one_thickness(problem: Problem, best: Priced) -> OneThickness | None:
    priced = in_one_thickness(problem, best)
    return None if priced is None else OneThickness(quarters=priced.slabs[0].quarters, net=priced.net)


def _with_best_so_far(tell: Callable[[Progress], None] | None) -> Callable[[Progress], None] | None:
    """Tell of the best of all that was searched: each way to buck, and each length of a long log, has its own best."""
    if tell is None:
        return None
    best: float | None = None
    drawn: BestSoFar | None = None

    def told(progress: Progress) -> None:
        nonlocal best, drawn
        best = max((net for net in (best, progress.best_net) if net is not None), default=None)
        if progress.best is not None and (drawn is None or progress.best.net > drawn.net):
            drawn = progress.best
        tell(replace(progress, best_net=best, best=drawn))

    return told


@dataclass(frozen=True, eq=False)
class _Doubtful:
    """Plans weighed in doubt: those shown, and all that were tried."""

    shown: list[Weighed]
    every: list[Weighed]
    chances: list[float]
    doubt: Doubt | None
    notes: tuple[Note, ...]
    one_thickness: OneThickness | None

    def told(self, plan: Plan, priced: Priced) -> Plan:
        """Return a plan with how far its numbers may be off."""
        of = next((tried for tried in self.every if tried.priced is priced), None)
        if of is None:
            return plan
        chance = next((c for w, c in zip(self.shown, self.chances, strict=True) if plan.rank and w is of), None)
        return with_doubt(plan, of, chance)


def _weigh(
    by_cuts: dict[tuple[BuckCut, ...], Problem],
    found: Found,
    best: tuple[Priced, ...],
    beside: list[Priced | None],
    settings: SearchSettings,
    stop: Callable[[], StoppedBy | None],
    on_progress: Callable[[Progress], None] | None,
) -> _Doubtful:
    """Choose again in doubt, as the best plan bucks the log, and try all plans on the same fresh possible logs."""
    problem = by_cuts[best[0].buck_cuts]
    possible = PossibleLogs(problem, settings.widened)
    stretches = len(problem.cuts) > 0 and all(cuts for cuts in by_cuts)
    plans = [priced for priced in best if not stretches or priced.buck_cuts == problem.cuts]
    here = [priced for priced in plans if priced.buck_cuts == problem.cuts]
    logs: list[PossibleLog] = []
    if stop() is None:
        known = Found(tuple(here), found.net_by_roll, found.lays, found.stopped_by)
        more = chosen_in_doubt(
            problem,
            known,
            drawn(possible, settings.seed, 0, CHOICE_LOGS, settings.workers),  # let go of before others are drawn
            settings.workers,
            on_progress,
            lambda: stop() is None,
        )
        plans += [priced for priced in more if priced.net > 0.0]
    if stop() is None and not any(is_as_it_lies(problem, priced) for priced in plans):
        plans += [priced for one in as_it_lies(problem) if (priced := problem.checked(one)) and priced.net > 0.0]
    fresh = drawn(possible, settings.seed, FIRST_REPORT, REPORT_LOGS, settings.workers)
    more_beside = [p for p in beside if p is not None and (not stretches or p.buck_cuts == problem.cuts)]
    # Priced ways are equal only where they are one and the same: the plain way may be among the plans.
    also = [p for p in more_beside if p not in plans]
    every = _weighed_by_cuts(by_cuts, [*plans, *also], problem, fresh, settings)
    first = every[: len(plans)]
    top = sorted(first, key=lambda w: -w.expected)[:UNTURNED]
    with ThreadPoolExecutor(max_workers=settings.workers) as pool:
        unturned = list(pool.map(lambda w: _unturned(by_cuts[w.priced.buck_cuts], w.priced), top))
    alike = [p for p in unturned if p is not None and p.net > 0.0 and problem.gives_set(p)]
    lying = _weighed_by_cuts(by_cuts, alike, problem, fresh, settings)
    shown, every = in_order([*first, *lying]), [*every, *lying]
    possible = PossibleLogs(by_cuts[shown[0].priced.buck_cuts], settings.widened)
    doubt = doubt_of_plan(possible, shown[0].priced, settings.seed, settings.workers)
    best_problem = by_cuts[shown[0].priced.buck_cuts]
    one = None
    if stop() is None:
        one = _one_in_doubt(best_problem, shown[0].priced, logs if best_problem is problem else [], settings)
    one_of = None if one is None else _weighed_by_cuts(by_cuts, [one], problem, fresh, settings)[0]
    ranked_all = [shown[0], *(w for w in every if w is not shown[0])]
    return _Doubtful(
        shown,
        every,
        chances_best(shown),
        doubt.model_copy(update={"would_pay": would_pay(possible, ranked_all, fresh, settings.seed)}),
        (*((ONE_STRETCH,) if stretches else ()), *((ROLL_NO_MATTER,) if turn_is_no_matter(every) else ())),
        None
        if one is None or one_of is None
        else OneThickness(quarters=one.slabs[0].quarters, net=one.net, net_expected=one_of.expected),
    )


def _one_in_doubt(problem: Problem, best: Priced, logs: list[PossibleLog], settings: SearchSettings) -> Priced | None:
    """Return the best plan's log in one thickness alone, its passes chosen in doubt. logs : of the choice, if drawn."""
    if len({slab.quarters for slab in best.slabs}) <= 1:
        return None
    logs = logs or drawn(PossibleLogs(problem, settings.widened), settings.seed, 0, CHOICE_LOGS, settings.workers)
    rolled = problem.supports.turned(best.lay.roll_deg)
    values = lay_values(problem, rolled, best.lay.tilt_deg, logs, exact=True, workers=settings.workers)
    return in_one_thickness(problem, best, lambda rules: best_average_cuts(values, problem.terms, rules))


def _weighed_by_cuts(
    by_cuts: dict[tuple[BuckCut, ...], Problem],
    plans: list[Priced],
    problem: Problem,
    fresh: list[PossibleLog],
    settings: SearchSettings,
) -> list[Weighed]:
    """Try plans on possible logs, each bucked as its plan says; fresh : bucked as `problem` is. The order stays."""
    found: list[tuple[int, Weighed]] = []
    for cuts in dict.fromkeys(plan.buck_cuts for plan in plans):
        other = by_cuts[cuts]
        logs = fresh
        if cuts != problem.cuts:
            possible = PossibleLogs(other, settings.widened)
            logs = drawn(possible, settings.seed, FIRST_REPORT, REPORT_LOGS, settings.workers)
        places = [k for k, plan in enumerate(plans) if plan.buck_cuts == cuts]
        own = weighed(other, [plans[k] for k in places], logs, settings.workers)
        found += zip(places, own, strict=True)
    return [one for _, one in sorted(found, key=lambda placed: placed[0])]


def _proven(
    problem: Problem,
    best_net: float,
    settings: SearchSettings,
    stop: Callable[[], StoppedBy | None],
    on_progress: Callable[[Progress], None] | None,
) -> Proven:
    """Bound the net of every lay of the log as the best plan bucks it; its bolts and cuts are the same in each."""
    beside = problem.bolts_worth - problem.buck_cost
    proven = prove(
        [problem],
        best_net - beside,
        gap=settings.gap,
        workers=settings.workers,
        stop=stop,
        on_progress=on_progress,
    )
    return replace(proven, upper_net=proven.upper_net + beside)


def _unturned(problem: Problem, priced: Priced) -> Priced | None:
    """Return the same cuts with the log not turned; None where it is not, is flipped, or the mill cannot make them so.

    Heights that were chosen on some possible logs are no better for a turned log than for a log as it lies: only where
    both get the same cuts can it be told whether turning pays.
    """
    rolled = problem.supports.turned(0.0)
    limits = problem.tilt_range_deg(rolled)
    if priced.lay.roll_deg % 360.0 == 0.0 or priced.flip_face_m is not None or limits is None:
        return None
    tilt_deg = min(max(priced.lay.tilt_deg, limits[0]), limits[1])
    heights_m = tuple(cut.blade_height_m for cut in priced.passes)
    try:
        found, _ = price_given(problem, Given(0.0, *rolled.gaps_m(tilt_deg), heights_m))
    except (NoPlanError, GivenError):
        return None
    return found if problem.standing(found).is_allowed else None


def price_way(
    given: LogGiven,
    mill: Mill,
    prices: PriceBook,
    way: Given,
    *,
    run: Run,
    doubt: bool = False,
    seed: int = 0,
    workers: int = 2,
) -> PlanDocument:
    """Price a chosen way, or plan on from passes made; the document holds it as its only plan.

    doubt : whether to try it on the logs that this one may turn out to be, weighed by the faces seen, and to plan on
    by their mean. seed, workers : as of SearchSettings.

    Raises as plan_log does, and GivenError for a way that contradicts itself.
    """
    started = run.clock()
    whole = _whole(given, mill, prices)
    problem = _with_bolts(_as_given(whole, way), given.weigh)
    check_log_fits(problem, given.weigh(problem.log))
    plain = plain_way(problem)
    onward = price_given_in_doubt(problem, way, seed, workers, plain) if doubt else None
    priced, notes = price_given(problem, way) if onward is None else (onward.priced, onward.notes)
    if plain is None:
        notes = (*notes, why_none(problem))
    compared = _compared(problem, plain)
    notes = (*notes, *_off_habit(problem, compared))
    log_wood_m3 = whole.log.wood.volume_m3
    plan = describe(problem, given.wood, priced, 1, log_wood_m3)
    told_plain = None if plain is None else describe(problem, given.wood, plain, 0, log_wood_m3)
    if told_plain is not None and onward is not None and onward.plain is not None:
        # Both are told in the mean, over the same logs, else their difference would mean nothing.
        told_plain = with_doubt(told_plain, onward.plain, None)
    return _document(
        given,
        whole,
        run,
        (plan if onward is None else with_doubt(plan, onward.weighed, None),),
        kind="own_way" if way.made is None else "rest",
        made=way.made or 0,
        plain_way=told_plain,
        compared=compared,
        hearts_level=None,
        value_by_roll=(),
        work=Work(lays=1, stopped_by="lays", seed=seed, seconds=run.clock() - started),
        warnings=(*given.warnings, *bunks_assumed(mill), *notes),
        doubt=None if onward is None else Doubt(samples=onward.samples, sources=()),
    )


def bunks_assumed(mill: Mill) -> tuple[Note, ...]:
    """Return the note that it is assumed where bunks lie, if the mill does not say."""
    rules = support_rules(mill)
    spacing = f"bunks {short_length(rules.bunk_spacing_m)} apart" if mill.bunk_spacing_m is None else ""
    first = f"the first bunk {short_length(rules.first_bunk_m)} from the butt end" if mill.first_bunk_m == 0.0 else ""
    assumed = " and ".join(part for part in (spacing, first) if part)
    if not assumed:
        return ()
    text = f"The mill does not say where its bunks are. We assume {assumed}: measure them."
    return (Note("bunks_assumed", text, bears_on_plan=True),)


def _as_given(whole: Problem, way: Given) -> Problem:
    """Return the log as a way bucks it. Raises GivenError for cuts that cannot be, and as _on_the_bed does."""
    if not way.buck_at:
        return _on_the_bed(whole, way.stretch_m)
    if way.stretch_m is not None:
        raise GivenError(
            f"{named('buck_at')} and {named('stretch')} both say what goes on the bed", "give one of them",
            field="buck_at",
        )  # fmt: skip
    try:
        cuts = [cut_at(whole.log, member, at_m) for member, at_m in way.buck_at]
        bucked = whole.bucked(cuts)
    except BuckError as error:
        raise GivenError(f"{named('buck_at')}: {error.text}", field="buck_at") from None
    return _on_the_bed(bucked, None)


def _on_the_bed(whole: Problem, stretch_m: tuple[float, float] | None) -> Problem:
    """Return the log, or the stretch of it that lies on the bed. Raises NoPlanError where that cannot be."""
    bed_m, length_m = whole.mill.bed_length_m, whole.log.length_m
    if stretch_m is None:
        if bed_m is not None and length_m > bed_m:
            raise NoPlanError(
                f"the log is longer than the bed: {long_length(length_m)}, {long_length(length_m - bed_m)} more than "
                f"{named('bed_length')}",
                "give the part of it that lies on the bed, from where to where from the butt end, as "
                f"{named('stretch')}",
                field="stretch",
            )
        return whole
    from_m, to_m = stretch_m
    if not -SAME_PLACE_M <= from_m < to_m <= length_m + SAME_PLACE_M:
        raise NoPlanError(
            f"{named('stretch')} must lie on the log, in 0 to {long_length(length_m)}, got {long_length(from_m)} to "
            f"{long_length(to_m)}",
            field="stretch",
        )
    if bed_m is not None and to_m - from_m > bed_m + 2.0 * SAME_PLACE_M:
        raise NoPlanError(
            f"{named('stretch')} is {long_length(to_m - from_m)} long, {short_length(to_m - from_m - bed_m)} more than "
            f"{named('bed_length')}",
            "give a shorter one",
            field="stretch",
        )
    from_m, to_m = max(0.0, from_m), min(length_m, to_m)
    if bed_m is not None:
        to_m = min(to_m, from_m + bed_m)
    if to_m - from_m >= length_m - SAME_PLACE_M:
        return whole
    if to_m - from_m <= sum(whole.end_trim_m):
        raise NoPlanError(
            f"{named('stretch')} is {long_length(to_m - from_m)} long, and the end trim leaves nothing of it",
            "give a longer one",
            field="stretch",
        )
    return whole.stretch(from_m, to_m)


def _whole(given: LogGiven, mill: Mill, prices: PriceBook) -> Problem:
    log = with_pith(given.log, given.marks)
    if min(given.end_trim_m) < 0.0 or sum(given.end_trim_m) >= log.length_m:
        raise ValueError(
            f"end_trim must leave some of the log, {long_length(log.length_m)} long, got "
            f"{short_length(sum(given.end_trim_m))} in all"
        )
    return Problem(log, mill, prices, menu_for(prices, given.wood, mill), given.end_trim_m, given.marks)


@dataclass(frozen=True)
class Compared:
    """How a plain way compares: why it stops at once, if it does, and how far its roll is from habit. [deg]."""

    why: PlainWhy | None
    off_deg: float


def _compared(problem: Problem, plain: Priced | None) -> Compared:
    if plain is None:
        return Compared(None, 0.0)
    kind = why_stopped(problem, plain)
    return Compared(None if kind is None else PlainWhy(kind=kind), off_habit_deg(problem, plain))


def _off_habit(problem: Problem, compared: Compared) -> tuple[Note, ...]:
    """Return the note that the plain way is not what habit would take."""
    if compared.off_deg < LEAST_OFF_DEG:
        return ()
    habit = "with its limbs level" if problem.log.forks else "as it lies"
    nearest = f"We compare with the nearest it can take: {compared.off_deg:.0f} degrees off."
    text = f"The mill cannot take the log {habit}. {nearest}"
    return (Note("plain_way_turned", text, bears_on_plan=True),)


def _document(
    given: LogGiven,
    whole: Problem,
    run: Run,
    plans: tuple[Plan, ...],
    *,
    kind: Literal["searched", "own_way", "rest"],
    made: int = 0,
    plain_way: Plan | None,
    hearts_level: Plan | None,
    hearts_level_why: LevelWhy | None = None,
    compared: Compared,
    value_by_roll: tuple[NetAtRoll, ...],
    work: Work,
    warnings: tuple[Note, ...],
    doubt: Doubt | None = None,
    bound: Bound | None = None,
    one_thickness: OneThickness | None = None,
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
        haul=given.haul,
        fee_received=given.fee_received,
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
        kind=kind,
        made=made,
        tally=tally_said(whole.prices, wood),
        plans=tuple(_brought(plan, given) for plan in plans),
        plain_way=None if plain_way is None else _brought(plain_way, given),
        hearts_level=None if hearts_level is None else _brought(hearts_level, given),
        hearts_level_why=hearts_level_why,
        one_thickness=one_thickness,
        plain_way_why=compared.why,
        plain_way_off_deg=compared.off_deg,
        value_by_roll=value_by_roll,
        bound=bound,
        doubt=doubt,
        work=work,
        warnings=warnings,
        cautions=cautions_for(found, whole.mill, plans, wood.name),
    )


def _brought(plan: Plan, given: LogGiven) -> Plan:
    """Return a plan with what the log may cost once it is hauled, and the fee for taking it received."""
    more = given.fee_received - given.haul
    safe = plan.break_even_safe
    return plan.model_copy(
        update={
            "break_even_log_price": plan.break_even_log_price + more,
            "break_even_safe": None if safe is None else safe + more,
        }
    )


def _with_bolts(problem: Problem, weigh: Weigh) -> Problem:
    """Return the same with what was cut off its log, and what that brings."""
    if problem.whole is None:
        return problem
    whole = problem.whole
    bolts = CutBack.of(whole.log, problem.cuts).bolts_of(whole.log)
    return replace(problem, bolts=numbered([one for bolt in bolts for one in worth_of(whole, bolt, weigh)]))


def _stretched(whole: Problem, weigh: Weigh) -> list[Problem]:
    stretches = stretches_of(whole.log.length_m, whole.mill.bed_length_m)
    if len(stretches) == 1:
        return [whole]
    metal_m = [kept_out_m(rod.corners_m[:, 0], whole.mill.metal_keep_out_m) for rod in whole.metal]
    stretches = clear_of_metal(stretches, whole.log.length_m, metal_m)
    return [_with_bolts(whole.stretch(*stretch), weigh) for stretch in stretches]


def _within_margin(passes: tuple[PricedPass, ...], mill: Mill) -> bool:
    return all(p.reach_m <= mill.throat_m - REACH_MARGIN_M for p in passes)
