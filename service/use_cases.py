"""What the command line and jobs ask of a log that was read: plan it, price a way or plan the rest, say the plan.

A log is read by `service.typed.log_reading.read_log`. What is given comes in checked: AboutLog, Effort, Way.
"""

import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from importlib.metadata import version

from optimizer.bed.bucking import buck
from optimizer.documents.mill import Mill
from optimizer.documents.plan import PlanDocument
from optimizer.documents.prices import PriceBook
from optimizer.planning import Progress, Run, plan_log, price_way
from optimizer.report.cuts_made import cuts_made
from service.contract.log_given import log_given
from service.typed.effort import Effort
from service.typed.log_reading import LogRead
from service.typed.way import Way, compared, face_expected, own_way_name
from service.words.tables import Assumed, plan_text
from service.words.units import Units

BID_LAYS, BID_LAYS_OF_FORK = 40, 16
"""How many lays are priced for a bid: with more the sample logs come out at the same price to 1%."""


GIRTHS_WIDENED = 1.6
"""By what the spread of what a log sheet does not tell is multiplied where two girths and a length are all that is
known. On 8 invented stems that it was not chosen on (tests/benchmarks/two_girths.py, seeds 52-59, 2026-11-30, on a busy
machine) the range from one in ten to nine in ten held the net of the best plan 7 times, and the safe price made money
8 times; with 1.0 the range held it 6 times of 10 (seeds 40-50)."""


def new_run(run_id: str) -> Run:
    """Return what names a run that begins now."""
    return Run(
        id=run_id,
        made_at=datetime.now(UTC).isoformat(timespec="seconds"),
        made_with=f"pithline {version('pithline')}",
        clock=time.monotonic,
    )


def plan_read_log(
    read: LogRead,
    mill: Mill,
    prices: PriceBook,
    effort: Effort,
    *,
    run: Run,
    workers: int,
    on_progress: Callable[[Progress], None] | None = None,
) -> PlanDocument:
    """Plan a log. Raises InputError where the end trim leaves nothing of it, and as plan_log does."""
    given = log_given(read, mill, prices)
    return plan_log(given, mill, prices, settings=effort.settings(workers), run=run, on_progress=on_progress)


def bid_on_log(
    read: LogRead,
    mill: Mill,
    prices: PriceBook,
    *,
    from_girths: bool,
    run: Run,
    workers: int,
    on_progress: Callable[[Progress], None] | None = None,
) -> PlanDocument:
    """Plan a log as far as it takes to say what it may cost, in seconds. Raises as plan_read_log does.

    from_girths : whether two girths and a length are all that is known of it.
    """
    # A fork is more work, and may not go on the bed whole.
    is_fork = len(read.log.hearts) > 1
    effort = Effort(lays=BID_LAYS_OF_FORK if is_fork else BID_LAYS, buck="limbs" if is_fork else "no")
    settings = effort.settings(workers)
    if from_girths:
        settings = replace(settings, widened=GIRTHS_WIDENED)
    given = log_given(read, mill, prices)
    return plan_log(given, mill, prices, settings=settings, run=run, on_progress=on_progress)


def price_own_way(read: LogRead, mill: Mill, prices: PriceBook, way: Way, *, run: Run, workers: int) -> PlanDocument:
    """Price a way that somebody chose, or plan on from passes made; say how each face seen differs from the way's.

    Raises InputError where the way cannot be read, where the end trim leaves nothing of the log or for a face that the
    way does not have, and as price_way does.
    """
    weighs = way.doubt == "on"
    chosen = way.given(mill)
    given = log_given(read, mill, prices)
    document = price_way(given, mill, prices, chosen, run=run, doubt=weighs, workers=workers)
    cuts = cuts_made(document.plans[0], read.log.length_m) if chosen.buck_at and chosen.seen else ()
    wood = buck(read.log, cuts).log.wood if cuts else read.log.wood
    found = tuple(
        compared(seen, face_expected(wood, document.plans[0], seen.order), weighed=weighs) for seen in chosen.seen
    )
    return document.model_copy(update={"warnings": (*document.warnings, *found)})


def assumed_of(read: LogRead, mill_from: str, prices_from: str) -> Assumed:
    """Return in words where each thing that was assumed came from."""
    return Assumed(
        mill=mill_from,
        prices=prices_from,
        species=read.species_from,
        bark=read.bark_from,
        end_trim=read.end_trim_from,
    )


def text_of(
    document: PlanDocument,
    read: LogRead,
    units: Units,
    *,
    mill_from: str,
    prices_from: str,
    show_all: bool,
    verbose: bool = False,
) -> str:
    """Return a plan as the command line prints it.

    mill_from, prices_from : in words, where they came from. show_all, verbose : as of plan_text.
    """
    assumed = assumed_of(read, mill_from, prices_from)
    title = "Plan 1" if document.kind == "searched" else own_way_name(document.made)
    return plan_text(document, assumed, units, show_all=show_all, verbose=verbose, title=title)
