"""What a log sheet leaves open: sizes of the changes, where they are, and that solids stay closed."""

from dataclasses import replace

import numpy as np
import pytest
from sheets_made import forked, straight

from scans.log import Solid
from scans.tape.log_from_sheet import Bow, TapedSection, log_from_sheet
from scans.tape.sheet_doubt import BETWEEN, BOW, LIMBS, READINGS, RIDGES, RIDGES_MEAN


def spread_m(log, kind, near=None, part="outer"):
    modes = getattr(log.doubt, f"{part}_modes_m")[:, [k == kind for k in log.doubt.kinds]].astype(float)
    out = np.sqrt((modes**2).sum(axis=1)) * np.linalg.norm(getattr(log.doubt, f"{part}_ways"), axis=1)
    x_m = getattr(log, part).vertices_m[:, 0]
    side = np.hypot(*getattr(log, part).vertices_m[:, 1:].T) > 0.8 * np.hypot(*log.outer.vertices_m[:, 1:].T).max()
    return out[side if near is None else side & (np.abs(x_m - near) < 0.05)].mean()


def test_samples_of_a_sheet_are_closed_and_differ():
    log = log_from_sheet(forked(), 0.93)
    samples = log.sample(4, 1)

    for sample in samples:
        Solid(sample.outer.vertices_m, sample.outer.faces)
        Solid(sample.wood.vertices_m, sample.wood.faces)
    volumes = [sample.wood.volume_m3 / log.wood.volume_m3 for sample in samples]
    assert 0.003 < np.std(volumes) < 0.06
    assert {READINGS, BETWEEN, BOW, LIMBS, RIDGES} == set(log.doubt.kinds)
    assert log.doubt.wood_modes_m.shape[1] == len(log.doubt.kinds)


def test_calipers_lie_on_ridges_so_that_there_is_less_wood_in_the_mean():
    log = log_from_sheet(straight(), 1.0)

    volumes = [sample.wood.volume_m3 / log.wood.volume_m3 for sample in log.sample(120, 2)]
    without = replace(log, doubt=replace(log.doubt, means=()))
    level = [sample.wood.volume_m3 / log.wood.volume_m3 for sample in without.sample(120, 2)]

    # An area goes with the square of the radius.
    assert np.mean(volumes) - np.mean(level) == pytest.approx(2.0 * RIDGES_MEAN, abs=0.004)


def test_the_form_is_surer_at_a_section_than_between_two():
    log = log_from_sheet(straight(), 1.0)
    middle = replace(
        straight(), sections=(*straight().sections[:1], TapedSection(1.5, 0.6, 0.6), straight().sections[1])
    )

    assert spread_m(log, BETWEEN, 1.5) > spread_m(log, BETWEEN, 0.0)
    assert spread_m(log, BETWEEN, 1.5) > spread_m(log_from_sheet(middle, 1.0), BETWEEN, 1.5)


def test_calipers_tell_more_of_ovality_than_a_girth():
    girth = log_from_sheet(straight(), 1.0)
    calipers = replace(straight(), sections=tuple(TapedSection(at, 0.6, 0.6) for at in (0.0, 3.0)))

    assert spread_m(girth, READINGS) > 1.5 * spread_m(log_from_sheet(calipers, 1.0), READINGS)


def test_a_bow_measured_is_surer_along_its_hollow_than_one_that_nobody_wrote_down():
    taped = log_from_sheet(straight(bow=Bow(0.03, 1.5, 0.0)), 1.0)

    assert spread_m(taped, BOW, 1.5) < spread_m(log_from_sheet(straight(), 1.0), BOW, 1.5)
    assert spread_m(taped, BOW, 1.5) > 3.0 * spread_m(taped, BOW, 0.0)


def test_the_middle_of_an_end_face_stays():
    log = log_from_sheet(straight(), 1.0)
    middle = np.linalg.norm(log.outer.vertices_m[:, 1:], axis=1) < 1e-6

    assert middle.any()
    assert np.linalg.norm(log.doubt.outer_ways[middle]).max() == pytest.approx(0.0, abs=1e-9)
    assert log.surface_error_m == pytest.approx(0.01, abs=0.008)
