"""What a log may cost, as text: the most to pay for it, and the sums behind that."""

from optimizer.documents.plan import PlanDocument
from service.words.layout import paragraph, sums
from service.words.log_price_words import pay_words
from service.words.measures import Measures
from service.words.messages import COMMAND_LINE, said
from service.words.money_words import range_words, sum_rows, worth
from service.words.tables import Assumed, head_lines
from service.words.time_words import first_money_words
from service.words.units import Units

TWO_GIRTHS = (
    "Two girths and a length tell nothing of sweep, a crotch, rot, cracks, or metal. None of these numbers has them in "
    "it: look for them before you pay."
)


_OF_SETTING_UP = ("roll_no_matter", "plain_way_turned", "bunks_assumed")
"""Notes for whoever lays the log on the bed."""


def bid_text(document: PlanDocument, assumed: Assumed, units: Units, *, from_girths: bool) -> str:
    """Return what to print for a bid on a log. from_girths : whether two girths and a length are all that is known."""
    measures = Measures(units, document.mill, document.currency)
    best = document.plans[0]
    lines = [*head_lines(document, assumed, measures), "", *paragraph(f"{pay_words(best, measures)}.")]
    if document.doubt is not None:
        lines += paragraph(
            f"4 times out of 5 it should net {range_words(best, measures)} before you pay for it, on average "
            f"{measures.money(worth(best))}."
        )
    lines += ["", *sums(sum_rows(best, document, measures))]
    when = first_money_words(best, document)
    if when:
        lines += ["", *paragraph(when, first="  ")]
    notes = [
        said(note, units, COMMAND_LINE)
        for note in document.warnings
        if note.bears_on_plan and note.kind not in _OF_SETTING_UP
    ]
    for note in (*((TWO_GIRTHS,) if from_girths else ()), *notes):
        lines += ["", *paragraph(note, first="Note: ", rest="  ")]
    return "\n".join(lines) + "\n"
