"""Mills and price books: lists, and forms that keep what was typed."""

from typing import Annotated, Any

from fastapi import APIRouter, Path, Request
from fastapi.responses import Response

from optimizer.documents.mill import Mill
from optimizer.documents.prices import PriceBook
from optimizer.report.tally_said import is_of_before
from service.desk import species_lines
from service.pages.asked import MILL, PRICES
from service.pages.fields import Asked, Filled, checked, filled, row_numbers, typed_from
from service.pages.rendering import OwnUnits, PageRoute, TypedIn, errors_answer, render, see
from service.web.api_parts import MillId, OwnDesk, PricesId
from service.words.units import Units
from service.words.wood_names import wood_said

router = APIRouter(route_class=PageRoute)
_MOST_ROWS = 200
MaybeId = Annotated[str, Path(pattern="^([0-9a-f]{32}|new)$")]


@router.get("/mills")
def mills(request: Request, desk: OwnDesk) -> Response:
    """List the mills."""
    return render(request, "mills.html", mills=desk.store.mills())


@router.get("/mills/{mill_id}")
def mill_form(request: Request, desk: OwnDesk, mill_id: MaybeId, units: OwnUnits) -> Response:
    """Show a mill's form, filled or empty."""
    typed = {}
    if mill_id != "new":
        typed = typed_from(MILL, desk.store.mill(mill_id).mill.model_dump(), units)
    return _mill_page(request, mill_id, Filled(typed))


def _mill_page(request: Request, mill_id: str, form: Filled, status: int = 200) -> Response:
    return render(request, "mill_form.html", status, mill_id=mill_id, form=form, asked=MILL)


@router.post("/mills/{mill_id}")
def write_mill(request: Request, desk: OwnDesk, mill_id: MaybeId, typed: TypedIn, units: OwnUnits) -> Response:
    """Keep a mill, or show what is wrong."""
    form = filled(MILL, typed, units)
    mill = checked(Mill, MILL, form, units)
    if mill is None:
        return _mill_page(request, mill_id, form, 422)
    desk.store.write_mill(mill, None if mill_id == "new" else mill_id)
    return see("/mills")


@router.post("/mills/{mill_id}/remove")
def remove_mill(desk: OwnDesk, mill_id: MillId) -> Response:
    """Forget a mill."""
    desk.store.remove_mill(mill_id)
    return see("/mills")


@router.get("/mills/{mill_id}/remove")
def back_to_mill(mill_id: MillId) -> Response:
    """Lead on whoever loads the address of the form again."""
    return see(f"/mills/{mill_id}")


@router.get("/prices")
def price_books(request: Request, desk: OwnDesk) -> Response:
    """List the price books."""
    return render(request, "prices.html", books=desk.store.price_books())


@router.get("/prices/{prices_id}")
def prices_form(request: Request, desk: OwnDesk, prices_id: MaybeId, units: OwnUnits) -> Response:
    """Show a price book's form, filled or empty."""
    typed = {"per_board_foot.0.species": "any", "currency": "USD", "tally.moisture": "dry", "drying.0.quarters": ""}
    is_old = False
    if prices_id != "new":
        book = desk.store.price_book(prices_id).prices
        is_old = is_of_before(book)
        kept = typed_from(PRICES, book.model_dump(), units)
        typed = {name: wood_said(value) if name.endswith(".species") else value for name, value in kept.items()}
    return _prices_page(request, prices_id, Filled(typed), is_old=is_old)


def _prices_page(
    request: Request, prices_id: str, form: Filled, status: int = 200, *, is_old: bool = False
) -> Response:
    return render(
        request, "price_form.html", status, prices_id=prices_id, form=form, asked=PRICES, species=species_lines(),
        rows={name: row_numbers(form.typed, name) for name in PRICES.rows}, is_old=is_old,
    )  # fmt: skip


@router.post("/prices/{prices_id}")
def write_prices(request: Request, desk: OwnDesk, prices_id: MaybeId, typed: TypedIn, units: OwnUnits) -> Response:
    """Keep a price book; or show the form again with another row, as it was typed, or with what is wrong."""
    more = typed.pop("more", "")
    if more:
        numbers = row_numbers(typed, more)
        if more in PRICES.rows and len(numbers) < _MOST_ROWS:
            typed = {**typed, f"{more}.{max(numbers, default=-1) + 1}": ""}
        return _prices_page(request, prices_id, Filled(typed))
    form = filled(PRICES, typed, units)
    book = checked(PriceBook, PRICES, form, units)
    if book is None:
        return _prices_page(request, prices_id, form, 422)
    desk.store.write_price_book(book, None if prices_id == "new" else prices_id)
    return see("/prices")


@router.post("/prices/{prices_id}/remove")
def remove_prices(desk: OwnDesk, prices_id: PricesId) -> Response:
    """Forget a price book."""
    desk.store.remove_price_book(prices_id)
    return see("/prices")


@router.get("/prices/{prices_id}/remove")
def back_to_prices(prices_id: PricesId) -> Response:
    """Lead on whoever loads the address of the form again."""
    return see(f"/prices/{prices_id}")


@router.post("/check/mill")
def check_mill(typed: TypedIn, units: OwnUnits) -> Response:
    """Say what is wrong with a mill as it stands."""
    return _checked(Mill, MILL, typed, units)


@router.post("/check/prices")
def check_prices(typed: TypedIn, units: OwnUnits) -> Response:
    """Say what is wrong with a price book as it stands."""
    return _checked(PriceBook, PRICES, typed, units)


def _checked(model: Any, asked: Asked, typed: dict[str, str], units: Units) -> Response:
    form = filled(asked, typed, units)
    checked(model, asked, form, units)
    return errors_answer(form.errors, units)
