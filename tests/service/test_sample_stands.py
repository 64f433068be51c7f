"""The sample fork's plans stand, by an independent count."""

import itertools
import json

import auditor

from optimizer.documents.mill import Mill
from optimizer.documents.prices import PriceBook
from optimizer.planning import Run, SearchSettings, plan_log
from service.contract.log_given import log_given
from service.typed.files import MILL_FILE, PRICES_FILE, parse_document, read_sample
from service.typed.log_reading import AboutLog, read_log


def test_every_plan_of_the_sample_fork_stands() -> None:
    read = read_log(read_sample("log.toml"), AboutLog())
    mill = parse_document(read_sample(MILL_FILE), Mill)
    prices = parse_document(read_sample(PRICES_FILE), PriceBook)
    run = Run("", "", "test", itertools.count().__next__)

    made = plan_log(log_given(read, mill, prices), mill, prices, settings=SearchSettings(lays=100), run=run)
    document = json.loads(made.model_dump_json())

    for plan in filter(None, [*document["plans"], document["plain_way"], document["hearts_level"]]):
        auditor.check_stands(read.log, document, plan)
        # Its hearts part 0.7 m below the crotch: what lies between is the trunk, whichever heart is nearer.
        for support in plan["supports"]:
            below_the_crotch = support["x_m"] < document["log"]["forks"][0]["crotch_m"][0]
            assert (support["member"] == "stem") is below_the_crotch
