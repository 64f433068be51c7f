"""A way of one's own priced, and the faces found held against it: the same for the command line and the service."""

from optimizer.given import Given
from optimizer.mill import Mill
from optimizer.plan import PlanDocument
from optimizer.planning import Run, price_way
from optimizer.prices import PriceBook
from service.log_given import log_given
from service.log_reading import LogRead
from service.way import compared, face_expected


def way_priced(
    read: LogRead, mill: Mill, prices: PriceBook, chosen: Given, *, run: Run, doubt: bool, workers: int
) -> PlanDocument:
    """Return the plan of a way that somebody chose. workers : how many cores. Raises as price_way and log_given do."""
    given = log_given(read, mill, prices)
    document = price_way(given, mill, prices, chosen, run=run, doubt=doubt, workers=workers)
    found = tuple(
        compared(face, face_expected(read.log.wood, document.plans[0], face.order), weighed=doubt)
        for face in chosen.seen
    )
    return document.model_copy(update={"warnings": (*document.warnings, *found)})
