"""What a log may cost, in words: on average, and to be safe; and what hauling and a fee for taking it change."""

from optimizer.documents.plan import LogFound, Plan
from service.words.measures import Measures


def log_cost_rows(plan: Plan, log: LogFound, worth: float, measures: Measures) -> list[tuple[str, str, str]]:
    """Return what the log costs, what is left, and what it may cost: what, how much, and a remark.

    worth : the net that the plan is ranked by.
    """
    spent = (("The log cost", -log.cost), ("Hauling it", -log.haul), ("Paid to you to take it", log.fee_received))
    rows = [(what, measures.money(amount), "") for what, amount in spent if amount]
    if rows:
        left = worth - log.cost - log.haul + log.fee_received
        rows.append(("Left after paying for it", measures.money(left), ""))
    rows.append(_most("Most you can pay for it", plan.break_even_log_price, "on average you then break even", measures))
    if plan.break_even_safe is not None:
        rows.append(_most("Safe to pay for it", plan.break_even_safe, "you lose money 1 time in 5", measures))
    return rows


def _most(what: str, amount: float, remark: str, measures: Measures) -> tuple[str, str, str]:
    """Return a row of what may be paid. A log that brings less than nothing may cost nothing: be paid to take it."""
    if amount >= 0.0:
        return what, measures.money(amount), remark
    return what, measures.money(0.0), f"take it only if you are paid {measures.money(-amount)} or more"


def pay_words(plan: Plan, measures: Measures) -> str:
    """Say what the log may cost: `Pay at most $310 for the log, or $240 to be safe`."""
    if plan.break_even_log_price < 0.0:
        return f"Take the log only if you are paid {measures.money(-plan.break_even_log_price)} or more"
    most = f"Pay at most {measures.money(plan.break_even_log_price)} for the log"
    if plan.break_even_safe is None:
        return most
    return f"{most}, or {measures.money(max(plan.break_even_safe, 0.0))} to be safe"
