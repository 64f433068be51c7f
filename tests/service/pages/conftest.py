"""Pages over the service's own application, with records put straight into its store: no job runs.

The log is the invented sample with metal and a knot, planned with few lays.
"""

import time
from collections.abc import Iterator

import pytest
from kept_pages import NASTY, Pages, Planned, keep_log, keep_plan, pages_of

from optimizer.documents.mill import Mill
from optimizer.documents.prices import PriceBook
from optimizer.planning import Run, SearchSettings, plan_log
from scans.messages import Note
from service.contract.log_given import log_given
from service.settings import Settings
from service.typed.files import MILL_FILE, PRICES_FILE, SHEET_FILE, FileRead, parse_document, read_sample
from service.typed.log_reading import AboutLog, read_log

_MARKS = """
[[mark]]
kind = "metal"
at = "3 ft"
toward_deg = 300
radius = "1 in"
depth = "4 in"
[[mark]]
kind = "knot"
at = "4 ft"
toward_deg = 100
radius = "2 in"
depth = "8 in"
"""


def sample_mill() -> Mill:
    return parse_document(read_sample(MILL_FILE), Mill)


def prices_of_feather() -> PriceBook:
    prices = parse_document(read_sample(PRICES_FILE), PriceBook)
    return prices.model_copy(update={"figure": prices.figure.model_copy(update={"feather_per_board_foot": 6.0})})


@pytest.fixture(scope="session")
def planned() -> Planned:
    sheet = read_sample(SHEET_FILE)
    read = read_log(FileRead(SHEET_FILE, sheet.data + _MARKS.encode(), sheet.sha256), AboutLog())
    mill, prices = sample_mill(), prices_of_feather()
    run = Run(id="0" * 32, made_at="2026-01-02T03:04:05+00:00", made_with="a test", clock=time.monotonic)
    settings = SearchSettings(lays=16, seed=0, workers=1)
    return Planned(read, plan_log(log_given(read, mill, prices), mill, prices, settings=settings, run=run))


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Pages]:
    settings = Settings(data_folder=tmp_path_factory.mktemp("data"), slots=0, free_bytes=0)
    with pages_of(settings) as client:
        yield client


@pytest.fixture(scope="module")
def log_id(client: Pages, planned: Planned) -> str:
    return keep_log(client, planned.read, NASTY)


@pytest.fixture(scope="module")
def plan_id(client: Pages, planned: Planned, log_id: str) -> str:
    document = planned.document
    marks = tuple(mark.model_copy(update={"id": f"{NASTY} {mark.id}"}) for mark in document.log.marks)
    log = document.log.model_copy(update={"name": NASTY, "marks": marks})
    mill = document.mill.model_copy(update={"name": f"mill {NASTY}"})
    warnings = (Note("given", f"Note of {NASTY}.", bears_on_plan=True),)
    return keep_plan(client, log_id, document.model_copy(update={"log": log, "mill": mill, "warnings": warnings}))
