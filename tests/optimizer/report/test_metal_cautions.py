"""Where the document says that metal lies, against where the search took it to lie."""

import books
import numpy as np
import pytest
import shapes
from plan_documents import a_log, a_plan

from optimizer.bed.marks import rod_of
from optimizer.documents.plan import LogFound, Mark, Source
from optimizer.report.log_found import log_found
from optimizer.report.metal_cautions import metal_on_bed, rod_found
from optimizer.wood.woods import find_wood
from scans.log import Log


def metal(place: tuple[float, ...]) -> Mark:
    return Mark(id="metal 1", kind="metal", x_m=place[0], y_m=place[1], z_m=place[2], radius_m=0.02, depth_m=0.1)


def found_of(log: Log) -> LogFound:
    problem = books.problem(log)
    source = Source(kind="sheet", sha256="0" * 64)
    wood = find_wood("white ash")
    return log_found(log, problem.bodies, problem.supports, wood, source, bark_on=False, cost=0.0)


@pytest.mark.parametrize("heart", [True, False])
@pytest.mark.parametrize("place", [(1.2, 0.1, 0.28), (0.0, 0.1, 0.1), (3.0, 0.1, 0.1), (2.9, -0.29, 0.05)])
def test_a_marks_rod_goes_the_way_that_the_plan_was_made_with(heart: bool, place: tuple[float, ...]) -> None:
    log = shapes.cylinder(0.3, 3.0, points=360, heart=heart)
    mark = metal(place)

    assert rod_found(found_of(log), mark).corners_m == pytest.approx(rod_of(log, mark, 0.0).corners_m, abs=1e-4)


@pytest.mark.parametrize("place", [(0.9, 0.1, 0.3), (1.45, -0.2, 0.2), (2.6, 0.25, 0.0)])
def test_so_it_does_in_a_bowed_log_without_a_heart_between_two_sections(place: tuple[float, ...]) -> None:
    whole = shapes.bent(0.12)
    log = shapes.log_of(whole.outer)
    mark = metal(place)

    assert rod_found(found_of(log), mark).corners_m == pytest.approx(rod_of(log, mark, 0.0).corners_m, abs=1e-3)


def test_so_it_does_in_a_forked_log_without_hearts() -> None:
    log = shapes.log_of(shapes.forked().outer)
    mark = metal((2.6, 0.7, 0.0))

    assert rod_found(found_of(log), mark).corners_m == pytest.approx(rod_of(log, mark, 0.0).corners_m, abs=5e-3)


def test_of_metal_that_a_crosscut_goes_through_the_part_on_the_bed_counts() -> None:
    # The heart climbs, so that a rod far from it leans along the log: (1.4, 0, -0.6) to (1.5, 0, -0.5).
    heart = ((0.0, 0.0, -1.0), (2.9, 0.0, 1.9))
    mark = Mark(id="metal 1", kind="metal", x_m=1.4, y_m=0.0, z_m=0.6, radius_m=0.001, depth_m=0.1 * 2**0.5)
    log = a_log(marks=(mark,), hearts=(heart,))

    def heights(*stretch_m: float) -> tuple[float, float]:
        ((_, corners),) = metal_on_bed(log, a_plan(stretch_m=stretch_m), flipped=False)
        return corners[:, 2].min(), corners[:, 2].max()

    assert heights(0.0, 2.9) == pytest.approx((0.5, 0.6), abs=2e-3)
    assert heights(0.0, 1.44) == pytest.approx((0.56, 0.6), abs=2e-3)
    assert heights(1.44, 2.9) == pytest.approx((0.5, 0.56), abs=2e-3)
    assert metal_on_bed(log, a_plan(stretch_m=(0.0, 1.39)), flipped=False) == []
    assert np.isfinite(heights(0.0, 1.3995)).all()
