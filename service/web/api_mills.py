"""Routes of mills, price books and woods."""

from typing import Annotated, Any

from fastapi import APIRouter, Body, Response

from optimizer.documents.mill import Mill
from optimizer.documents.prices import PriceBook
from service.contract.documents import MillKept, PriceBookKept, SpeciesLine
from service.desk import species_lines
from service.typed.as_toml import as_toml
from service.web import api_examples
from service.web.api_parts import MillId, OwnDesk, PricesId, errors

router = APIRouter(prefix="/api", tags=["mills and prices"])

_MEDIA = "application/toml"
_TOML: dict[int | str, dict[str, Any]] = {
    200: {"description": "TOML 1.0.", "content": {_MEDIA: {"schema": {"type": "string"}}}}
}
MillGiven = Annotated[Mill, Body(openapi_examples=api_examples.MILLS)]
PricesGiven = Annotated[PriceBook, Body(openapi_examples=api_examples.PRICE_BOOKS)]


def _toml(document: Mill | PriceBook) -> Response:
    return Response(as_toml(document.model_dump(mode="json")), media_type=_MEDIA)


@router.get("/mills", responses=errors())
def list_mills(desk: OwnDesk) -> list[MillKept]:
    """List the mills, the one that was written last first; plans are made on that one unless they name another."""
    return desk.store.mills()


@router.post("/mills", status_code=201, responses=errors(422))
def add_mill(desk: OwnDesk, mill: MillGiven) -> MillKept:
    """Add a mill."""
    return desk.store.write_mill(mill)


@router.get("/mills/{mill_id}", responses=errors(404, 422))
def get_mill(desk: OwnDesk, mill_id: MillId) -> MillKept:
    """Return a mill."""
    return desk.store.mill(mill_id)


@router.get("/mills/{mill_id}/mill.toml", response_class=Response, responses={**_TOML, **errors(404, 422)})
def get_mill_toml(desk: OwnDesk, mill_id: MillId) -> Response:
    """Return a mill as the command line reads it."""
    return _toml(desk.store.mill(mill_id).mill)


@router.put("/mills/{mill_id}", responses=errors(404, 422))
def write_mill(desk: OwnDesk, mill_id: MillId, mill: MillGiven) -> MillKept:
    """Write over a mill."""
    return desk.store.write_mill(mill, mill_id)


@router.delete("/mills/{mill_id}", status_code=204, responses=errors(404, 422))
def remove_mill(desk: OwnDesk, mill_id: MillId) -> None:
    """Forget a mill; plans keep what they were made on."""
    desk.store.remove_mill(mill_id)


@router.get("/price-books", responses=errors())
def list_price_books(desk: OwnDesk) -> list[PriceBookKept]:
    """List the price books, the one that was written last first; plans take that one unless they name another."""
    return desk.store.price_books()


@router.post("/price-books", status_code=201, responses=errors(422))
def add_price_book(desk: OwnDesk, prices: PricesGiven) -> PriceBookKept:
    """Add a price book."""
    return desk.store.write_price_book(prices)


@router.get("/price-books/{prices_id}", responses=errors(404, 422))
def get_price_book(desk: OwnDesk, prices_id: PricesId) -> PriceBookKept:
    """Return a price book."""
    return desk.store.price_book(prices_id)


@router.get("/price-books/{prices_id}/prices.toml", response_class=Response, responses={**_TOML, **errors(404, 422)})
def get_prices_toml(desk: OwnDesk, prices_id: PricesId) -> Response:
    """Return a price book as the command line reads it."""
    return _toml(desk.store.price_book(prices_id).prices)


@router.put("/price-books/{prices_id}", responses=errors(404, 422))
def write_price_book(desk: OwnDesk, prices_id: PricesId, prices: PricesGiven) -> PriceBookKept:
    """Write over a price book."""
    return desk.store.write_price_book(prices, prices_id)


@router.delete("/price-books/{prices_id}", status_code=204, responses=errors(404, 422))
def remove_price_book(desk: OwnDesk, prices_id: PricesId) -> None:
    """Forget a price book; plans keep what they were made on."""
    desk.store.remove_price_book(prices_id)


@router.get("/species", responses=errors())
def list_species() -> list[SpeciesLine]:
    """List the woods of the table."""
    return species_lines()
