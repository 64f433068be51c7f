"""A plan document as pages show it: its ways by their keys, its notes, its cautions."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from optimizer.documents.plan import Caution, Plan, PlanDocument
from optimizer.report.cautions import as_shown
from scans.messages import Note
from service.contract.refusals import NotFoundError
from service.contract.ways import ways_by_key
from service.typed.way import own_way_name
from service.words import slab_words
from service.words.buck_words import cuts_short
from service.words.lay_words import setup_short
from service.words.measures import Measures
from service.words.way_names import way_name


@dataclass(frozen=True)
class Shown:
    """One way to saw the log. key : how addresses name it."""

    key: str
    label: str
    plan: Plan


@dataclass(frozen=True)
class Notes:
    """What a plan's reader is told first. said : in full; folded : how the log was read, for whoever asks."""

    said: tuple[Note | str, ...]
    folded: tuple[Note, ...]


def notes_of(document: PlanDocument) -> Notes:
    """Part what bears on the plan from what says how the log was read."""
    return notes_of_reading(document.warnings)


def notes_of_reading(notes: Sequence[Note]) -> Notes:
    """Part notes that bear on any plan of a log from those that say how it was read."""
    bear = tuple(note for note in notes if note.bears_on_plan)
    return Notes(bear, tuple(note for note in notes if not note.bears_on_plan))


def no_longer_kept(
    document: PlanDocument, *, log_is_kept: bool, mill_is_kept: bool, prices_are_kept: bool
) -> tuple[str, ...]:
    """Say which of a plan's log, mill and prices were changed or removed since it was made.

    log_is_kept : whether the log is what it was when it was read for the plan. mill_is_kept, prices_are_kept : whether
    the same are kept still, in all that they say.
    """
    log = (
        "This plan uses the log as it was read then; it was read again since, and is not the same. "
        "Plan it again before you saw."
    )
    mill = (
        f"This plan uses the mill {document.mill.name} as it was then; it was changed or removed since. "
        "Before you saw, check that your mill's scale and blade are as the plan has them."
    )
    prices = f"This plan uses the prices {document.prices.name} as they were then; they were changed or removed since."
    return (() if log_is_kept else (log,)) + (() if mill_is_kept else (mill,)) + (() if prices_are_kept else (prices,))


def is_own_way(document: PlanDocument) -> bool:
    """Whether the first plan is what somebody chose, and no plan was searched for."""
    return document.kind != "searched"


def ways(document: PlanDocument, made: int = 0) -> list[Shown]:
    """Return every way of a document: the plans, pith level, straight through.

    made : how many passes of somebody's own way were sawn when the rest was planned.
    """
    first = own_way_name(made) if is_own_way(document) else "Plan 1"
    return [Shown(key, way_name(document, plan, first), plan) for key, plan in ways_by_key(document).items()]


def way_of(document: PlanDocument, key: str, made: int = 0) -> Shown:
    """Return one of them. Raises NotFoundError."""
    for shown in ways(document, made):
        if shown.key == key:
            return shown
    raise NotFoundError(f"this plan has no way called {key[:20]}")


def thicknesses(plan: Plan) -> str:
    """Return how many slabs of each thickness there are."""
    each = [f"{count}\u00a0×\u00a0{quarters}/4" for count, quarters in slab_words.thicknesses(plan)]
    return ", ".join(each) or "no slab"


def setup_and_slabs(document: PlanDocument, plan: Plan, measures: Measures) -> str:
    """Return in a line where the log is bucked, how it lies and what it gives, to choose between ways by."""
    bucked = cuts_short(document, plan, measures)
    return f"{f'bucked at {bucked}; ' if bucked else ''}{setup_short(plan, measures)}; {thicknesses(plan)}"


@dataclass(frozen=True)
class CautionsPart:
    """Cautions as a page shows them.

    by_level : what stands with the plan, the gravest first; levels with none are left out. more, standing : see
    CautionsShown.
    """

    by_level: list[tuple[str, list[Caution]]]
    more: tuple[Caution, ...]
    standing: tuple[Caution, ...]


def cautions_part(cautions: Sequence[Caution]) -> CautionsPart:
    """Return a document's cautions as a page shows them."""
    shown = as_shown(cautions)
    by_level = [(level, list(of)) for level, of in groupby(shown.with_plan, key=lambda caution: caution.level)]
    return CautionsPart(by_level, shown.more, shown.standing)
