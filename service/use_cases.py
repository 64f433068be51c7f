"""What a command or a job asks of a log that was read: to plan it, or to price a way of somebody's own."""

from collections.abc import Callable

from optimizer.documents.mill import Mill
from optimizer.documents.plan import PlanDocument
from optimizer.documents.prices import PriceBook
from optimizer.planning import Progress, Run, SearchSettings, plan_log, price_way
from optimizer.search.given import Given
from service.contract.log_given import log_given
from service.typed.log_reading import LogRead
from service.typed.way import compared, face_expected


def plan_read_log(
    read: LogRead,
    mill: Mill,
    prices: PriceBook,
    *,
    settings: SearchSettings,
    run: Run,
    on_progress: Callable[[Progress], None] | None = None,
) -> PlanDocument:
    """Plan a log. Raises InputError where the end trim leaves nothing of it, and as plan_log does."""
    return plan_log(log_given(read, mill, prices), mill, prices, settings=settings, run=run, on_progress=on_progress)


def price_own_way(
    read: LogRead, mill: Mill, prices: PriceBook, way: Given, *, run: Run, doubt: bool, workers: int = 2
) -> PlanDocument:
    """Price a way that somebody chose, or plan on from passes made; say how each face seen differs from the way's.

    Raises InputError where the end trim leaves nothing of the log or for a face that the way does not have, and as
    price_way does.
    """
    document = price_way(log_given(read, mill, prices), mill, prices, way, run=run, doubt=doubt, workers=workers)
    found = tuple(
        compared(seen, face_expected(read.log.wood, document.plans[0], seen.order), weighed=doubt) for seen in way.seen
    )
    return document.model_copy(update={"warnings": (*document.warnings, *found)})
