"""Logs planned as tests do it: few lays, invented mill and prices."""

from itertools import count

import books

from optimizer.documents.plan import Source
from optimizer.planning import LogGiven, Run, SearchSettings, plan_log
from optimizer.wood.woods import find_wood


def planned(log, mill=None, prices=None, species="ash, white", trim=(0.05, 0.05), lays=100, **settings):
    settings = SearchSettings(lays=lays, **settings)
    given = given_log(log, species, trim)
    return plan_log(given, mill or books.mill(), prices or books.prices(), settings=settings, run=a_run())


def a_run():
    ticks = count()
    return Run("run", "2026-01-01T00:00:00+00:00", "test", lambda: float(next(ticks)))


def given_log(log, species="ash, white", trim=(0.05, 0.05)):
    return LogGiven(
        log=log,
        source=Source(kind="solid", sha256="0" * 64),
        wood=find_wood(species),
        end_trim_m=trim,
        bark_on=log.wood is not log.outer,
        bark_ratio=1.0,
        cost=100.0,
    )
