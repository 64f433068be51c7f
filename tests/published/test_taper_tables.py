"""Volumes of solids made from log sheets, against the published diameters of whole stems.

Sources, MIT licence: R packages forestmangr, (c) 2018 Sollano Rabelo Braga (data sets exfm7 and exfm8), and
StemAnalysis (stem discs). The volumes are Smalian's (mean of the end areas times the length) and Huber's
(middle area times the length) of the same published diameters, section by section: the two formulas that
foresters know, here worked out beside the check.
"""

import csv
from collections import defaultdict

import numpy as np
import pytest

from scans.tape.log_from_sheet import LogSheet, TapedSection, log_from_sheet

LEAST_DIAMETER_M = 0.05
LOG_M = 5.0
"""Logs of about this length are cut from the butt of the published stems."""


def stems(path, keys, height, diameter):
    """Heights (N,) [m] and diameters over bark (N,) [m] of each tree."""
    found = defaultdict(dict)
    with path.open() as rows:
        for row in csv.DictReader(rows):
            found[tuple(row[key] for key in keys)][float(row[height])] = float(row[diameter]) / 100.0
    return [(np.array(sorted(tree)), np.array([tree[at] for at in sorted(tree)])) for tree in found.values()]


@pytest.fixture(scope="module")
def smalian_stems(data_folder):
    keys = ("MAP", "PROJECT", "SPACING", "STRATA", "GENCODE", "TREE")
    return stems(data_folder / "taper" / "forestmangr_exfm7_smalian.csv", keys, "hi", "di_wb")


@pytest.fixture(scope="module")
def huber_stems(data_folder):
    return stems(data_folder / "taper" / "forestmangr_exfm8_huber_logs.csv", ("CLONE", "STRATA", "TREE"), "hi", "di_wb")


@pytest.fixture(scope="module")
def disc_stems(data_folder):
    return stems(data_folder / "taper" / "stemanalysis_discs.csv", ("Treeno",), "stemheight", "Dwithbark")


def log_of(at, diameters, longest_m):
    """The part of a stem that a log sheet takes: 5 cm thick or more, from its lowest section up."""
    kept = (diameters >= LEAST_DIAMETER_M) & (at - at[0] <= longest_m + 1e-9)
    return at[kept] - at[0], diameters[kept]


def solid_volume(at, diameters):
    sections = tuple(TapedSection(float(x), girth_m=float(np.pi * d)) for x, d in zip(at, diameters, strict=True))
    return log_from_sheet(LogSheet("published stem", None, True, sections), 1.0).outer.volume_m3


def five_of(at):
    """Indices of the five sections nearest to even places from end to end."""
    return np.unique([int(np.argmin(np.abs(at - share * at[-1]))) for share in (0.0, 0.25, 0.5, 0.75, 1.0)])


def test_solids_of_whole_tables_have_the_volume_of_smalian(smalian_stems):
    ratios = []
    for at, diameters in smalian_stems[::10]:
        x, d = log_of(at, diameters, 14.5)
        areas = np.pi / 4.0 * d**2
        ratios.append(solid_volume(x, d) / (np.diff(x) * (areas[1:] + areas[:-1]) / 2.0).sum())
    assert len(ratios) == 20
    # Smalian's mean of two end areas is a little more than the frustum between them holds: 0.2 % here.
    assert np.mean(ratios) == pytest.approx(1.0, abs=0.004)
    assert np.abs(np.array(ratios) - 1.0).max() < 0.008


def test_solids_of_one_metre_middles_have_the_volume_of_huber(huber_stems):
    ratios = []
    for at, diameters in huber_stems:
        x, d = log_of(at, diameters, 14.0)
        if not np.allclose(np.diff(x), 1.0):
            continue  # one of the published trees lacks a log
        # From the first middle to the last: the two end sections count by half.
        pieces = np.pi / 4.0 * d**2
        ratios.append(solid_volume(x, d) / (pieces.sum() - 0.5 * (pieces[0] + pieces[-1])))
    assert len(ratios) == 28
    assert np.mean(ratios) == pytest.approx(1.0, abs=0.002)
    assert np.abs(np.array(ratios) - 1.0).max() < 0.004


def test_five_diameters_of_a_log_are_enough(smalian_stems, huber_stems, disc_stems):
    found = {}
    for name, trees in (("pulp", smalian_stems[::8]), ("clones", huber_stems), ("discs", disc_stems)):
        ratios = []
        for at, diameters in trees:
            x, d = log_of(at, diameters, LOG_M)
            if len(x) > 5:
                five = five_of(x)
                ratios.append(solid_volume(x[five], d[five]) / solid_volume(x, d))
        found[name] = np.array(ratios)
    assert [len(found[name]) for name in ("pulp", "clones")] == [25, 29]
    everything = np.concatenate(list(found.values()))
    # No bias to speak of; a single log is off by what the sections left out knew (knots, butt swell).
    # Straight lines between the same five diameters fail here: they cut across the hollow of the butt swell.
    assert np.mean(everything) == pytest.approx(1.0, abs=0.003)
    assert np.mean(found["pulp"]) == pytest.approx(1.0, abs=0.006)
    assert np.std(everything) < 0.012
