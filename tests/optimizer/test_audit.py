"""The auditor recomputes plans from mesh and document; see auditor.py."""

import json
from itertools import count

import auditor
import books
import numpy as np
import pytest
import shapes
import trimesh

from optimizer.plan import Source
from optimizer.planning import Run, SearchSettings, plan_log
from optimizer.wood import find_wood
from scans.log import Solid


def document_of(log, mill=None, prices=None, lays=120, trim=(0.05, 0.05)):
    ticks = count()
    document = plan_log(
        log,
        Source(kind="solid", sha256="0" * 64),
        mill or books.mill(),
        prices or books.prices(),
        find_wood("ash, white"),
        end_trim_m=trim,
        bark_on=False,
        bark_ratio=1.0,
        cost=0.0,
        settings=SearchSettings(lays=lays),
        run=Run("audit", "2026-01-01T00:00:00+00:00", "test", lambda: float(next(ticks))),
    )
    return json.loads(document.model_dump_json())


def audit(log, document):
    plans = [*document["plans"], document["plain_way"]]
    for plan in filter(None, plans):
        auditor.check_plan(log, document, plan)
    return plans


@pytest.mark.parametrize(
    "make", [lambda: shapes.forked(lumpy=0.08), shapes.bent, shapes.frustum, lambda: shapes.ellipse(0.35, 0.25)]
)
def test_samples(make):
    log = make()
    document = document_of(log)

    audit(log, document)


def test_tilted_lays_and_odd_kerfs_and_bark():
    log = shapes.with_bark(shapes.frustum(0.34, 0.22, 3.0), 0.93)
    mill = books.mill(kerf_m=0.0023, height_step_m=0.001, max_shim_m=0.15)
    limits = books.Limits(min_width_m=0.15, max_width_m=0.45, min_length_m=1.2)
    document = document_of(log, mill, books.prices(limits=limits), trim=(0.03, 0.11))

    plans = audit(log, document)

    assert max(abs(p["tilt_deg"]) for p in plans if p) > 0.3


def test_the_forked_log_of_the_data_folder(data_folder):
    mesh = trimesh.load(data_folder / "cc0" / "cc0_polyhaven_fork_log.ply")
    vertices = mesh.vertices - [mesh.bounds[0, 0], 0.0, 0.0]
    log = shapes.log_of(Solid(vertices, np.asarray(mesh.faces)))
    document = document_of(log, lays=200)

    plans = audit(log, document)

    assert len(plans) >= 3
    assert max(abs(p["tilt_deg"]) for p in plans if p) > 0.3


def test_the_auditor_sees_a_wrong_price():
    log = shapes.frustum()
    document = document_of(log, lays=40)
    plan = document["plans"][0]
    plan["slabs"][0]["price"] *= 1.01

    with pytest.raises(AssertionError):
        auditor.check_plan(log, document, plan)


def test_the_auditor_sees_a_wrong_height():
    log = shapes.frustum()
    document = document_of(log, lays=40)
    plan = document["plans"][0]
    plan["passes"][1]["blade_height_m"] -= document["mill"]["height_step_m"]

    with pytest.raises(AssertionError):
        auditor.check_plan(log, document, plan)
