"""A plan document as the text of its tables."""

from optimizer.documents.plan import PlanDocument
from service.words.tables import Assumed, plan_text
from service.words.units import Units

ASSUMED = Assumed(
    mill="in your own folder: " + "long/" * 20 + "mill.toml",
    prices="given: p.toml",
    species="S1",
    bark="B1",
    end_trim="T1",
)


def text_of(
    document: PlanDocument,
    units: Units = Units.IMPERIAL,
    *,
    show_all: bool = False,
    verbose: bool = False,
    title: str = "Plan 1",
) -> str:
    return plan_text(document, ASSUMED, units, show_all=show_all, verbose=verbose, title=title)
